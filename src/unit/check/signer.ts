import { toHex } from '../../bytes/index.ts';
import { LABEL } from '../../cose/index.ts';
import { readPublicKey } from '../../crypto/index.ts';
import { UNIT_LIMITS } from '../limits.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import { Trace } from '../trace.ts';
import { refusalRaisedBy } from '../verdict.ts';
import type { HeldKey, JudgedSeal, JudgedSignature } from './authentication.ts';
import { readBoundChain } from './chain.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { type MacSeal, macsOf, protectedAlgorithm, type SignatureSeal, signaturesOf } from './seal.ts';
import { judgePath, judgeRights, type SignerRules } from './signer-path.ts';

/** Signatures whose signers are looked at. */
export const MAXIMUM_SIGNATURES = UNIT_LIMITS.signatures.value;

/**
 * Step 2: who sealed it, and whether they may. Asymmetric: the certificate bound to a signature, its path to a root
 * of the unit, and its rights. Symmetric: the key of the unit that a MAC names. Undefined where the envelope has
 * nothing of the unit's scheme; step 3 then says so.
 */
export function judgeSigner(
  trace: Trace,
  { blocks }: OpenedEnvelope,
  unit: UnitView,
  rules: SignerRules,
): JudgedSeal | undefined {
  trace.enter('signer');
  const asymmetric = unit.record.scheme === 'asymmetric';
  const judged = asymmetric
    ? judgeSignatures(trace, signaturesOf(blocks), unit, rules)
    : judgeMacs(trace, macsOf(blocks), unit);
  if (judged) return judged;
  trace.lacks({
    what: 'seal of the scheme of the unit',
    expected: asymmetric ? 'a signature' : 'a MAC',
    found: 'none',
    source: 'draft-ietf-suit-manifest 8.3; draft-ietf-suit-mti 5.2',
  });
  return undefined;
}

/**
 * With several signatures the first one counts whose signer may seal for this unit, those of the unit's algorithm
 * before the others; where none may, the refusal is the first one's.
 */
function judgeSignatures(
  trace: Trace,
  seals: readonly SignatureSeal[],
  unit: UnitView,
  rules: SignerRules,
): JudgedSeal | undefined {
  const chosen = seals.length > 1 ? firstAcceptable(seals, unit, rules) : seals[0];
  return chosen && judgeSignature(trace, chosen, unit, rules);
}

function firstAcceptable(
  seals: readonly SignatureSeal[],
  unit: UnitView,
  rules: SignerRules,
): SignatureSeal | undefined {
  const { algorithm } = prepareRecord(unit.record).profile;
  const own = seals.filter(({ headers }) => protectedAlgorithm(headers) === algorithm);
  const others = seals.filter((seal) => !own.includes(seal));
  const candidates = [...own, ...others].slice(0, MAXIMUM_SIGNATURES);
  return candidates.find((seal) => isAcceptable(seal, unit, rules)) ?? candidates[0];
}

function isAcceptable(seal: SignatureSeal, unit: UnitView, rules: SignerRules): boolean {
  const aside = new Trace(['signer']);
  aside.enter('signer');
  return refusalRaisedBy(() => judgeSignature(aside, seal, unit, rules)) === null;
}

/** The signer of one signature: its certificate, its path and its rights. Step `signer` is open. */
export function judgeSignature(
  trace: Trace,
  seal: SignatureSeal,
  unit: UnitView,
  rules: SignerRules,
): JudgedSignature {
  const chain = readBoundChain(trace, seal.headers);
  const judged = judgePath(trace, chain, unit, rules);
  const { path, anchor, purpose } = judged;
  const signer = path[0]!;
  judgeRights(trace, judged, unit, rules);
  const key = readPublicKey(signer.spki)!;
  trace.facts.signer = { certificate: signer, anchor: anchor.label };
  return { kind: 'signature', seal, key, trust: purpose === 'trust' ? anchor.purpose : undefined };
}

/**
 * The first MAC that names a key of the unit, or else the first that names none: then each key held is tried. A key
 * id is a hint and proves nothing (RFC 9052 section 3.1); which key it was, step 3 shows.
 */
function judgeMacs(trace: Trace, seals: readonly MacSeal[], unit: UnitView): JudgedSeal | undefined {
  if (seals.length === 0) return undefined;
  const held = [...unit.macKeys].map(([id, key]): HeldKey => ({ id, key }));
  const ids = seals.map(keyIdOf);
  const question = {
    what: 'key that the MAC names',
    expected: () =>
      held.length === 0
        ? 'one of the unit, which holds none'
        : `one of the unit: ${held.map(({ id }) => id).join(', ')}`,
    source: 'RFC 9052 3.1; docs/deployment-profile.md',
  };
  const known = seals.findIndex((_, i) => ids[i] !== undefined && unit.macKeys.has(ids[i]));
  if (known >= 0) {
    trace.holds(question, ids[known]!);
    return { kind: 'mac', seal: seals[known]!, keys: held.filter(({ id }) => id === ids[known]) };
  }
  const unnamed = ids.indexOf(undefined);
  if (unnamed < 0 || held.length === 0) {
    const found = () => ids.map((id) => id ?? 'none').join(', ');
    return trace.refuse('mac-key-unknown', question, found);
  }
  trace.note(question, 'none named: every key of the unit is tried');
  return { kind: 'mac', seal: seals[unnamed]!, keys: held };
}

function keyIdOf({ headers }: MacSeal): string | undefined {
  const item = headers.get(LABEL.kid);
  return item?.type === 'bytes' ? toHex(item.value) : undefined;
}
