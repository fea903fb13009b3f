import type { KeyDescription } from '../keys/index.ts';
import {
  type JsonObject,
  type LeafState,
  leavesCaution,
  leavesRefusal,
  listKeys,
  type Retirement,
  readCertificates,
  readLeaves,
  retirements,
  type Workspace,
} from '../workspace/index.ts';
import type { Certificate } from '../x509/index.ts';
import { keyJson, leavesJson } from './key.ts';

const SOON_DAYS = 365;
const DAY_MS = 86_400_000;

/** A key of the workspace, its certificate, and what is worth a warning about it. */
export interface KeyStanding {
  readonly description: KeyDescription;
  readonly certificate: Certificate | undefined;
  /** For HSS/LMS keys: signatures left. */
  readonly leaves: LeafState | undefined;
  /** Why an HSS/LMS key cannot sign here; a code. */
  readonly refusal: string | undefined;
  readonly retired: Retirement | undefined;
  readonly cautions: readonly string[];
}

/** Every key of the workspace, and what lapses or runs out when. */
export function keyStandings(workspace: Workspace): KeyStanding[] {
  const retired = retirements(workspace);
  return listKeys(workspace).map((description) => {
    const certificate = readCertificates(workspace, description.name)[0];
    const leaves = readLeaves(workspace, description);
    const refusal = leavesRefusal(workspace, description);
    const cautions = [
      leaves && leavesCaution(description.name, leaves),
      refusal && refusal.code !== 'leaves-used-up' ? refusal.message : undefined,
      lapse(description.name, certificate, workspace.now()),
    ].filter((caution): caution is string => typeof caution === 'string');
    return {
      description,
      certificate,
      leaves,
      refusal: refusal?.code,
      retired: retired.get(description.name),
      cautions,
    };
  });
}

/** The same for programs. */
export function keysJson(standings: readonly KeyStanding[]): JsonObject {
  return {
    format: 'fieldseal.keys/1',
    keys: standings.map(({ description, certificate, leaves, refusal, retired }) => ({
      ...keyJson(description, certificate),
      signatures: leavesJson(leaves, refusal),
      retired: retired?.reason ?? null,
    })),
  };
}

function lapse(name: string, certificate: Certificate | undefined, now: Date): string | undefined {
  if (!certificate?.notAfter) return undefined;
  const days = Math.floor((certificate.notAfter.getTime() - now.getTime()) / DAY_MS);
  if (days >= SOON_DAYS) return undefined;
  return days < 0
    ? `the certificate of ${name} has lapsed`
    : `the certificate of ${name} lapses in ${days} days`;
}
