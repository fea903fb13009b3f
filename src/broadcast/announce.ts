import { toHex } from '../bytes/index.ts';
import { type KeyAccess, openMacKey, openSigner } from '../keys/index.ts';
import { standingSigners } from '../release/index.ts';
import { formatUuid } from '../suit/index.ts';
import {
  announcementCounter,
  appendEntry,
  classKeys,
  type DeviceClass,
  type JsonObject,
  takeNumber,
  type Workspace,
} from '../workspace/index.ts';
import type { Announcement } from './announcement/announcement.ts';
import type { Offer } from './announcement/offered.ts';
import type { Reach } from './announcement/reach.ts';
import { macAnnouncement, signAnnouncement } from './announcement/seal.ts';
import { announcementName, type Depot } from './depot/depot.ts';
import { BroadcastError } from './error.ts';
import type { Herald } from './herald/herald.ts';
import { type Offered, offerOf } from './offer.ts';

/** What is announced to a class. */
export interface AnnounceRequest {
  readonly workspace: Workspace;
  readonly deviceClass: DeviceClass;
  readonly depot: Depot;
  /** Carries it beside the depot, where there is one. */
  readonly herald: Herald | undefined;
  /** The envelope that is offered, and images beside it, or what the depot has of them; undefined: nothing is offered now. */
  readonly offered: Offered | Offer | undefined;
  /** What units take first while they run something older; see `Announcement`. */
  readonly steppingStones?: readonly Offer[] | undefined;
  /** The condition that a unit must be told is met. */
  readonly condition?: string | undefined;
  readonly wave: string;
  readonly reach: Reach;
  readonly notBefore: Date;
  readonly expiry: Date;
  /** The signer of announcements; without one the only one that covers the class. */
  readonly signerName: string | undefined;
  accessTo(name: string): KeyAccess;
  /** Asked once the number is taken and before anything bears it: throws where somebody else announces by now. */
  readonly mayUse?: (number: bigint) => Promise<void>;
}

/**
 * Announces: takes the next counter of the class, signs or MACs, puts envelope and images into the depot, and enters it in the
 * ledger. The announcement gets its place last, so that whatever it names is there, and the herald after the depot. It never takes
 * the place of one with a higher counter. Throws `BroadcastError`, `KeyError`, `WorkspaceError`.
 */
export async function announce(request: AnnounceRequest): Promise<JsonObject> {
  const { workspace, deviceClass, depot, herald, wave, reach, notBefore, expiry } = request;
  if (expiry <= notBefore)
    throw new BroadcastError(
      'expiry',
      'the announcement would expire before it begins',
      'choose a later end',
    );
  const sealing = sealerFor(request);
  const offer = await offeredBy(request);
  const { number } = takeNumber(workspace, { ...deviceClass, name: announcementCounter(deviceClass.name) });
  const announcement: Announcement = {
    classId: deviceClass.classId,
    counter: number,
    notBefore: seconds(notBefore),
    expiry: seconds(expiry),
    wave,
    reach,
    offer,
    ...(offer && request.steppingStones?.length && { steppingStones: request.steppingStones }),
    ...(request.condition !== undefined && { condition: request.condition }),
  };
  await request.mayUse?.(number);
  const sealed = await sealing(announcement);
  const facts = {
    class: announcementCounter(deviceClass.name),
    sequence_number: String(number),
    wave,
    offer: offer && toHex(offer.envelope.digest),
    permille: reach.kind === 'share' ? reach.permille : null,
    units: reach.kind === 'units' ? reach.units.length : null,
    expires: expiry.toISOString(),
    condition: request.condition ?? null,
  };
  appendEntry(workspace, 'announced', facts);
  for (const { name, message } of sealed) await depot.announce(name, message, number);
  for (const { name, message } of sealed) await herald?.publish(name, message, expiry);
  return {
    format: 'fieldseal.announced/1',
    class_name: deviceClass.name,
    counter: String(number),
    ...facts,
    files: sealed.map(({ name, message }) => ({ name: `a/${name}`, size_bytes: message.length })),
  };
}

/** Names under which announcements of a class lie in a depot: one, or one for each key that units of the class hold. */
export function announcementNames(workspace: Workspace, { name, scheme, classId }: DeviceClass): string[] {
  const id = formatUuid(classId);
  if (scheme === 'asymmetric') return [announcementName(id)];
  return classKeys(workspace, name).map(({ description }) => announcementName(id, description.fingerprint));
}

async function offeredBy({ offered, workspace, deviceClass, depot }: AnnounceRequest): Promise<Offer | null> {
  if (!offered) return null;
  return 'manifestDigest' in offered ? offered : offerOf(workspace, deviceClass, depot, offered);
}

type Sealed = readonly { readonly name: string; readonly message: Uint8Array }[];

function sealerFor(request: AnnounceRequest): (announcement: Announcement) => Promise<Sealed> {
  return request.deviceClass.scheme === 'asymmetric' ? signing(request) : macing(request);
}

function signing({ workspace, deviceClass, signerName, accessTo }: AnnounceRequest) {
  const all = standingSigners(workspace, deviceClass, 'announcement');
  const fit =
    signerName === undefined ? all : all.filter(({ description }) => description.name === signerName);
  const [chosen] = fit;
  if (!chosen || fit.length > 1) {
    throw new BroadcastError(
      'signer',
      chosen
        ? `several signers of announcements cover ${deviceClass.name}: ${fit.map(({ description }) => description.name).join(', ')}`
        : `no signer of announcements covers ${deviceClass.name}; a signer of releases cannot announce`,
      chosen
        ? 'name one with --signer'
        : `make one: fieldseal signer create NAME --purpose announcement --class ${deviceClass.name}`,
    );
  }
  return async (announcement: Announcement): Promise<Sealed> => {
    const signer = await openSigner(chosen.description, accessTo(chosen.description.name));
    try {
      const chain = chosen.chain.map(({ der }) => der);
      const name = announcementName(formatUuid(announcement.classId));
      return [{ name, message: await signAnnouncement(announcement, { signer, chain }) }];
    } finally {
      signer.close();
    }
  };
}

/** One message for each key that units of the class hold. */
function macing({ workspace, deviceClass, accessTo }: AnnounceRequest) {
  const keys = classKeys(workspace, deviceClass.name);
  if (keys.length === 0) {
    throw new BroadcastError(
      'signer',
      `class ${deviceClass.name} has no key`,
      `make it: fieldseal class-key create ${deviceClass.name}`,
    );
  }
  return async (announcement: Announcement): Promise<Sealed> => {
    const sealed = [];
    for (const { description } of keys) {
      const key = await openMacKey(description, accessTo(description.name));
      try {
        const name = announcementName(formatUuid(announcement.classId), toHex(key.keyId));
        sealed.push({ name, message: await macAnnouncement(announcement, key) });
      } finally {
        key.close();
      }
    }
    return sealed;
  };
}

function seconds(date: Date): bigint {
  return BigInt(Math.floor(date.getTime() / 1000));
}
