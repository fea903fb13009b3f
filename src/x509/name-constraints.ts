/** Name constraints (RFC 5280 section 4.2.1.10): whether the names of a certificate lie where an authority may speak. */
import type { Certificate } from './certificate.ts';
import type { NameConstraints } from './extensions.ts';
import type { GeneralName, GeneralNameForm } from './general-name.ts';
import { attributeTexts, isWithin } from './name.ts';
import { OID } from './oids.ts';
import { escapeControls } from './text.ts';

type Within = (name: GeneralName, base: GeneralName) => boolean;

/** How each form lies within a base of the same form. Forms not listed here are refused where constrained. */
const WITHIN: ReadonlyMap<GeneralNameForm, Within> = new Map<GeneralNameForm, Within>([
  [
    'directoryName',
    (name, base) =>
      name.form === 'directoryName' && base.form === name.form && isWithin(name.name, base.name),
  ],
  ['dNSName', onTexts(isHostWithin)],
  ['rfc822Name', onTexts(isMailboxWithin)],
  ['uniformResourceIdentifier', onTexts(isUriWithin)],
  [
    'iPAddress',
    (name, base) =>
      name.form === 'iPAddress' && base.form === name.form && isAddressWithin(name.bytes, base.bytes),
  ],
]);

const HOST = /^[A-Za-z][A-Za-z0-9+.-]*:\/\/(?:[^/?#@]*@)?([^/?#@:[\]]+)(?::[0-9]*)?(?:[/?#]|$)/;
const HOST_NAME = /^(?:[A-Za-z0-9_](?:[A-Za-z0-9_-]*[A-Za-z0-9_])?\.)+[A-Za-z](?:[A-Za-z0-9-]*[A-Za-z0-9])?$/;

/**
 * What in a certificate breaks the constraints of the authorities above it; `undefined` where nothing does. All
 * constraints hold together, so each is judged on its own.
 */
export function nameRefusal(
  certificate: Certificate,
  constraints: readonly NameConstraints[],
): string | undefined {
  if (constraints.length === 0) return undefined;
  const names = namesOf(certificate);
  for (const constraint of constraints) {
    const refused = names.find((name) => !isAllowed(name, constraint));
    if (refused) return textOfName(refused);
  }
  return undefined;
}

// The subject and mail addresses in it count as names beside the subjectAltName.
function namesOf({ subject, subjectAltNames = [] }: Certificate): GeneralName[] {
  const mailboxes = attributeTexts(subject, OID.emailAddress).map(
    (text) => ({ form: 'rfc822Name', text }) as const,
  );
  const own = subject.parts.length > 0 ? [{ form: 'directoryName', name: subject } as const] : [];
  return [...own, ...mailboxes, ...subjectAltNames];
}

function isAllowed(name: GeneralName, { permitted, excluded }: NameConstraints): boolean {
  const ofForm = ({ form }: GeneralName) => form === name.form;
  const [inside, outside] = [permitted.filter(ofForm), excluded.filter(ofForm)];
  if (inside.length === 0 && outside.length === 0) return true;
  const within = WITHIN.get(name.form);
  if (!within || isUnjudgeable(name)) return false;
  if (outside.some((base) => within(name, base))) return false;
  return inside.length === 0 || inside.some((base) => within(name, base));
}

// A URI without a host that is a domain name is refused where URIs are constrained (RFC 5280 section 4.2.1.10);
// so is a host or mailbox in a form that could slip past an exclusion.
function isUnjudgeable(name: GeneralName): boolean {
  if (name.form === 'uniformResourceIdentifier') return hostOf(name.text) === undefined;
  if (name.form === 'rfc822Name') return !/^[^@]+@[^@]*[^@.]$/.test(name.text);
  return name.form === 'dNSName' && !/[^.]$/.test(name.text);
}

function onTexts(within: (text: string, base: string) => boolean): Within {
  return (name, base) => 'text' in name && 'text' in base && within(name.text, base.text);
}

function isHostWithin(host: string, base: string): boolean {
  const [name, root] = [host.toLowerCase(), base.toLowerCase()];
  if (root === '' || name === root) return true;
  return name.endsWith(root.startsWith('.') ? root : `.${root}`);
}

function isMailboxWithin(mailbox: string, base: string): boolean {
  const at = mailbox.lastIndexOf('@');
  const [local, host] = [mailbox.slice(0, at), mailbox.slice(at + 1)];
  const baseAt = base.lastIndexOf('@');
  if (baseAt < 0) return isExactHostOrBelow(host, base);
  return local === base.slice(0, baseAt) && host.toLowerCase() === base.slice(baseAt + 1).toLowerCase();
}

function isUriWithin(uri: string, base: string): boolean {
  const host = hostOf(uri);
  return host !== undefined && isExactHostOrBelow(host, base);
}

// For mail and URIs: with a leading full stop any host below it, without one exactly this host.
function isExactHostOrBelow(host: string, base: string): boolean {
  const [name, root] = [host.toLowerCase(), base.toLowerCase()];
  return root.startsWith('.') ? name.endsWith(root) : name === root;
}

function hostOf(uri: string): string | undefined {
  const host = HOST.exec(uri)?.[1];
  return host && HOST_NAME.test(host) ? host : undefined;
}

// A base is an address and a mask, each as long as the address (RFC 4632 style).
function isAddressWithin(address: Uint8Array, base: Uint8Array): boolean {
  if (base.length !== 2 * address.length) return false;
  return address.every(
    (byte, i) => (byte & base[address.length + i]!) === (base[i]! & base[address.length + i]!),
  );
}

function textOfName(name: GeneralName): string {
  if ('text' in name) return `${name.form} ${escapeControls(name.text)}`;
  return name.form === 'directoryName' ? `${name.form} ${name.name.text}` : name.form;
}
