/** Things done to a unit of the device kit, as records of a case file. */
import type { Floors } from '../../src/unit/index.ts';
import { counted, type Field, record, u8, u32, u64 } from './case-file.ts';

const KINDS = {
  flash: 2,
  power: 3,
  check: 4,
  install: 5,
  start: 6,
  keep: 7,
  raise: 8,
  flashDigest: 9,
  checkMarks: 10,
  cut: 12,
};

/** What a unit is offered; `now` where its clock is read. */
export interface KitOffer {
  readonly envelope: Uint8Array;
  readonly image?: Uint8Array | undefined;
  readonly now?: Date | undefined;
}

/** What runs when the power comes: a slot, the recovery image, or nothing. */
export type Running = number | 'recovery' | undefined;

const runningOf = (running: Running): Field =>
  u8(running === undefined ? 0xff : running === 'recovery' ? 2 : running);

function offerOf({ envelope, image, now }: KitOffer): Field[] {
  const seconds = now ? BigInt(Math.floor(now.getTime() / 1000)) : 0n;
  return [
    ...[u8(now ? 1 : 0), u64(seconds), counted(envelope)],
    ...(image ? [u8(1), counted(image)] : [u8(0)]),
  ];
}

/** What the flash holds when a case begins it anew. Says nothing. */
export const flashOf = (content: Uint8Array) => record(KINDS.flash, counted(content));
/** The power comes, with the flash as given (`anew`) or as it was left. Says a status. */
export const powerOn = (anew: boolean, running: Running) =>
  record(KINDS.power, u8(anew ? 1 : 0), runningOf(running));
export const check = (offer: KitOffer) => record(KINDS.check, ...offerOf(offer));
export const install = (offer: KitOffer) => record(KINDS.install, ...offerOf(offer));
export const start = () => record(KINDS.start);
export const keep = () => record(KINDS.keep);
export const raiseFloors = ({ sequenceNumber, securityVersion, signerGeneration }: Floors) =>
  record(KINDS.raise, u64(sequenceNumber), u32(securityVersion), u32(signerGeneration));
/** Says SHA-256 over slots, envelopes and state, and how many operations there were since the power came. */
export const flashDigest = () => record(KINDS.flashDigest);
/** `marks`: body of a record of marks; none for a unit whose marks are lost. */
export const checkMarks = (marks: Uint8Array | undefined, running: Running, offer: KitOffer) =>
  record(KINDS.checkMarks, counted(marks), runningOf(running), ...offerOf(offer));

const CUT_KINDS = { before: 1, middle: 2, after: 3 };
/** The power goes `after` that many operations from now, at the next one. Says nothing; what it cuts says `power-cut`. */
export const cut = (kind: keyof typeof CUT_KINDS, after: number, noise: number) =>
  record(KINDS.cut, u8(CUT_KINDS[kind]), u32(after), u32(noise));
