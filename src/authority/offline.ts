import { join, resolve } from 'node:path';
import * as z from 'zod';
import type { KeyType } from '../crypto/index.ts';
import {
  createSigningKey,
  type KeyDescription,
  openRoot,
  readKeyDescription,
  readRequestFile,
  type SecretSource,
  writeReplyFile,
} from '../keys/index.ts';
import {
  type Files,
  filesOn,
  type Json,
  RETIREMENT_REASONS,
  type RetirementReason,
  readableJson,
} from '../workspace/index.ts';
import {
  type Certificate,
  type CertificationRequest,
  fromPem,
  issueCertificate,
  issuerOf,
  parseCertificate,
  purposeOf,
  toPem,
} from '../x509/index.ts';
import { type Attendance, ceremonyFacts } from './ceremony.ts';
import { AuthorityError } from './error.ts';
import { selfSigned } from './root.ts';

const AUTHORITY_FORMAT = 'fieldseal.authority/1';
const ISSUED_FORMAT = 'fieldseal.issued/1';
const DAY_MS = 86_400_000;
const authorityFile = z.strictObject({
  format: z.literal(AUTHORITY_FORMAT),
  vendor_domain: z.string().min(1),
  trial: z.boolean(),
  key: z.unknown(),
});

/** An offline authority's folder: the root key, encrypted, its certificate, and what it issued. */
export interface OfflineAuthority {
  readonly folder: string;
  readonly vendorDomain: string;
  readonly trial: boolean;
  readonly description: KeyDescription;
  readonly certificate: Certificate;
}

/** An authority to be made on a machine without network. */
export interface NewAuthority extends Attendance {
  readonly vendorDomain: string;
  readonly trial: boolean;
  readonly type: KeyType;
  readonly now: Date;
}

/** Makes an offline authority in a folder that is empty or not there yet. Throws `AuthorityError` authority-folder. */
export async function createAuthority(
  dir: string,
  authority: NewAuthority,
  secrets: SecretSource,
): Promise<OfflineAuthority> {
  const folder = resolve(dir);
  const files = filesOn();
  if (files.list(folder).length > 0)
    throw folderProblem(dir, 'is not empty; nothing was changed', 'Name a new folder.');
  files.makeFolder(folder, { secret: true });
  const { trial, vendorDomain, type, now } = authority;
  const naming = { name: 'root', purpose: 'root', trial, created: now } as const;
  const place = { custody: 'file', path: join(folder, 'root-key.pem') } as const;
  const made = await createSigningKey({ ...naming, type, place }, secrets);
  files.makeFolder(join(folder, 'issued'));
  const der = await selfSigned(vendorDomain, 'root', made.key, trial, now);
  const certificate = parseCertificate(der);
  files.createNew(join(folder, 'root-certificate.pem'), toPem('CERTIFICATE', der));
  const facts = ceremonyFacts('root-made', made.description, made.evidence, authority, now, certificate);
  files.createNew(join(folder, 'ceremony.json'), readableJson(facts));
  const content = { format: AUTHORITY_FORMAT, vendor_domain: vendorDomain, trial, key: made.description };
  files.createNew(join(folder, 'authority.json'), readableJson(content as Json));
  return { folder, vendorDomain, trial, description: made.description, certificate };
}

/** Opens an offline authority's folder. Throws `AuthorityError` authority-folder. */
export function openAuthority(dir: string): OfflineAuthority {
  const folder = resolve(dir);
  const files = filesOn();
  const hint = 'Name the folder that "fieldseal authority create" made, or restore it from its backup.';
  if (!files.exists(join(folder, 'authority.json'))) throw folderProblem(dir, 'holds no authority', hint);
  const read = authorityFile.safeParse(parseJson(files.readText(join(folder, 'authority.json'))));
  if (!read.success)
    throw folderProblem(dir, `is damaged: authority.json: ${read.error.issues[0]?.message}`, hint);
  const { vendor_domain: vendorDomain, trial, key } = read.data;
  return {
    folder,
    vendorDomain,
    trial,
    description: readKeyDescription(key),
    certificate: readRoot(files, folder),
  };
}

/** A request read on the offline machine, its fingerprint compared with the one read aloud. */
export function readSignerRequest(
  authority: OfflineAuthority,
  file: string,
  typedFingerprint: string,
): CertificationRequest {
  const request = readRequestFile(file, typedFingerprint);
  if (request.profile !== 'signer' || request.unknownCritical.length > 0) {
    throw unsuitable('it does not ask for a signer certificate', 'Write it with: fieldseal signer create.');
  }
  if (request.trial !== authority.trial) {
    const asks = request.trial ? 'a trial' : 'a production';
    throw unsuitable(
      `it comes from ${asks} workspace and this authority is of the other kind`,
      'The two never mix.',
    );
  }
  return request;
}

/**
 * Certifies a request and writes the reply file and a record of what was issued. Scope, generation and role are the
 * requested ones: the custodians have read them on the screen. Throws `KeyError`.
 */
export async function certifyRequest(
  authority: OfflineAuthority,
  request: CertificationRequest,
  options: { readonly days: number; readonly out: string; readonly now: Date },
  secrets: SecretSource,
): Promise<Certificate> {
  const access = { file: join(authority.folder, 'root-key.pem'), secrets, production: !authority.trial };
  const key = await openRoot(authority.description, access);
  const der = await issueCertificate(
    {
      profile: 'signer',
      subject: request.subject,
      issuer: issuerOf(authority.certificate),
      publicKey: request.spki,
      notBefore: options.now,
      notAfter: new Date(options.now.getTime() + options.days * DAY_MS),
      trial: authority.trial,
      scopes: request.subjectAltUris,
      generation: request.generation ?? 0,
      role: request.role,
      purpose: purposeOf(request),
    },
    (tbs) => key.sign(tbs),
  );
  key.close();
  const certificate = parseCertificate(der);
  recordIssued(authority, certificate, options.now);
  writeReplyFile(options.out, [der]);
  return certificate;
}

function recordIssued(authority: OfflineAuthority, certificate: Certificate, now: Date): void {
  const facts = {
    format: ISSUED_FORMAT,
    time: now.toISOString(),
    subject: certificate.subject.text,
    serial: certificate.serial,
    not_after: certificate.notAfter?.toISOString() ?? null,
    scope: [...certificate.subjectAltUris],
    generation: certificate.generation ?? 0,
    role: certificate.role ?? null,
    purpose: purposeOf(certificate) ?? null,
  };
  filesOn().createNew(join(authority.folder, 'issued', `${certificate.serial}.json`), readableJson(facts));
}

/** What this authority has revoked so far, by the files of its folder `revoked`. */
export function readRevoked({ folder }: OfflineAuthority): {
  readonly serial: string;
  readonly time: string;
  readonly reason: RetirementReason;
}[] {
  const files = filesOn();
  const shape = z.strictObject({
    serial: z.string(),
    time: z.iso.datetime(),
    reason: z.enum(Object.keys(RETIREMENT_REASONS) as [RetirementReason, ...RetirementReason[]]),
  });
  return files.list(join(folder, 'revoked')).map((name) => {
    const read = shape.safeParse(parseJson(files.readText(join(folder, 'revoked', name))));
    if (read.success) return read.data;
    throw folderProblem(folder, `is damaged: revoked/${name}`, 'Restore it from its backup.');
  });
}

function readRoot(files: Files, folder: string): Certificate {
  const block = fromPem(files.readText(join(folder, 'root-certificate.pem')))[0];
  if (block) return parseCertificate(block.der);
  throw folderProblem(folder, 'holds no root certificate', 'Restore root-certificate.pem from its backup.');
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

function folderProblem(dir: string, what: string, hint: string): AuthorityError {
  return new AuthorityError('authority-folder', `The folder ${dir} ${what}.`, hint);
}

function unsuitable(what: string, hint: string): AuthorityError {
  return new AuthorityError('request-unsuitable', `The request cannot be certified: ${what}.`, hint);
}
