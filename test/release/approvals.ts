import { createApprover } from '../../src/authority/index.ts';
import { type FreezeRequest, freezeRequest } from '../../src/release/approval/freeze.ts';
import { approve } from '../../src/release/index.ts';
import { sealApproved } from '../../src/release/seal.ts';
import type { Workspace } from '../../src/workspace/index.ts';
import { editClass, filePlace, lighten, prepared, request, secrets } from './setup.ts';

export type At = Awaited<ReturnType<typeof prepared>>;

/** Makes a person's key. */
export async function person(workspace: Workspace, name: string, full: string): Promise<void> {
  const place = filePlace(workspace, name);
  const made = { name, person: full, type: 'p256', place, people: [], backups: [] } as const;
  await createApprover(workspace, made, secrets);
  lighten(place.path);
}

/** A workspace whose class vent needs approvals, with Ada Brook, who has two keys, and Bela Marsh. */
export async function people(
  options: { now?: () => Date; approvals?: number; className?: string } = {},
): Promise<At> {
  const at = await prepared(options.now ? { now: options.now } : {});
  editClass(
    at.workspace,
    options.className ?? 'vent',
    '# approvals: 1',
    `approvals: ${options.approvals ?? 1}`,
  );
  await person(at.workspace, 'ada', 'Ada Brook');
  await person(at.workspace, 'ada-2', 'ADA  Brook');
  await person(at.workspace, 'bela', 'Bela Marsh');
  return at;
}

/** Ada asks for the image at `at`. */
export async function asked(at: At, more: Partial<FreezeRequest> = {}) {
  const { out: _, force: __, unfinished: ___, ...usual } = request(at);
  return (await freezeRequest({ ...usual, requester: 'ada', ...more })).opened;
}

export const approveBy = (at: At, approver: string, name = 'vent/1', days?: number) =>
  approve({ workspace: at.workspace, secrets, request: name, approver, days });

/** Seals what was asked for. */
export const sealAsked = (at: At, more: Partial<Parameters<typeof sealApproved>[0]> = {}) => {
  const { workspace, images, out } = request(at);
  return sealApproved({ workspace, secrets, images, out, request: 'vent/1', ...more });
};
