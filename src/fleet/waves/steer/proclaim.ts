import {
  type Announcement,
  announce,
  announcementNames,
  type Depot,
  encodeAnnouncement,
} from '../../../broadcast/index.ts';
import { equal } from '../../../bytes/index.ts';
import type { KeyAccess } from '../../../keys/index.ts';
import {
  announcementCounter,
  type DeviceClass,
  highestTaken,
  type Workspace,
} from '../../../workspace/index.ts';
import type { Wanted } from '../course/wanted.ts';

/** How a steering process speaks to units. */
export interface Voice {
  readonly workspace: Workspace;
  readonly deviceClass: DeviceClass;
  readonly depot: Depot;
  readonly signerName: string | undefined;
  accessTo(name: string): KeyAccess;
}

/** An announcement that was made: its number, and until when it stands. */
export interface Proclaimed {
  readonly counter: string;
  readonly expires: string;
}

/**
 * Announces what is wanted, where the depot does not say so already, or will soon be silent, or somebody took a number and
 * was never heard of again: that one would come late, with what was true then, and is passed here by a higher number.
 * `mayUse`: see `announce`. Gives undefined where nothing was to be done. Throws as `announce`.
 */
export async function proclaim(
  voice: Voice,
  wanted: Wanted,
  seconds: number,
  mayUse: (number: bigint) => Promise<void>,
): Promise<Proclaimed | undefined> {
  const { workspace } = voice;
  const now = workspace.now();
  if (isSaid(voice, wanted, seconds, now)) return undefined;
  const { wave, reach, offer, steppingStones, condition } = wanted;
  const json = await announce({
    ...voice,
    herald: undefined,
    ...{ wave, reach, steppingStones, condition, mayUse },
    offered: offer ?? undefined,
    notBefore: now,
    expiry: new Date(now.getTime() + seconds * 1000),
  });
  return { counter: String(json.counter), expires: String(json.expires) };
}

function isSaid(
  { workspace, deviceClass, depot }: Voice,
  wanted: Wanted,
  seconds: number,
  now: Date,
): boolean {
  const last = highestTaken(workspace, announcementCounter(deviceClass.name));
  return announcementNames(workspace, deviceClass).every((name) => {
    const said = depot.announced(name)?.announcement;
    if (!said || said.counter !== last || !says(said, deviceClass, wanted)) return false;
    return Number(said.expiry) * 1000 - now.getTime() > (seconds * 1000) / 2;
  });
}

function says(said: Announcement, { classId }: DeviceClass, wanted: Wanted): boolean {
  const { counter, notBefore, expiry } = said;
  const same = { ...wanted, classId, counter, notBefore, expiry };
  return equal(encodeAnnouncement(same), encodeAnnouncement(said));
}
