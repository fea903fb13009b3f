import type { Link, UnitFigures } from '../figures/book.ts';
import type { UnitFigure } from '../figures/unit-rows.ts';
import { linkValue, type Sending } from './delivery.ts';

/** What a unit does with a payload, apart from receiving it. */
export interface UnitWork {
  /** Bytes that are programmed, and over how many pages they are erased. */
  readonly programmed: number;
  readonly pages: number;
  readonly writeUnit: number;
  /** Bytes that pass through SHA-256, all passes together. */
  readonly hashed: number;
  /** Bytes that are decrypted. */
  readonly decrypted: number;
  /** Verifications of signatures: those of the manifest and of every certificate, at install and at start. */
  readonly verifications: number;
  /** The figure of the signature algorithm; undefined for a MAC, which costs a hash. */
  readonly verifyFigure: UnitFigure | undefined;
}

/** Energy and time of one unit. mWh and seconds. */
export interface UnitEffort {
  readonly receive: number;
  /** Receiving where the receiver is on only while frames arrive, and where it is on throughout. */
  readonly receiveFramesOnly: number;
  readonly flash: number;
  readonly verify: number;
  /** Once: receive, flash, verify. */
  readonly once: number;
  /** With the retries that the cell must have room for, rounded up: what a minimum-battery condition asks for. */
  readonly minimumBattery: number;
  /** Of a full cell, as a share. */
  readonly shareOfCell: number;
  readonly flashTime: number;
  readonly verifyTime: number;
}

const SECONDS_AN_HOUR = 3600;
const energy = (seconds: number, milliampere: number, volt: number) =>
  (seconds * milliampere * volt) / SECONDS_AN_HOUR;

/** Receive, flash, verify, and the retries (draft-ietf-suit-update-management section 4.2: mWh). */
export function effortOf(link: Link, sending: Sending, work: UnitWork, unit: UnitFigures): UnitEffort {
  const of = (name: UnitFigure) => unit[name].value;
  const radio = (seconds: number) =>
    energy(seconds, linkValue(link, 'receive_current'), linkValue(link, 'supply'));
  const flashTime = flashTimeOf(work, of);
  const verifyTime = verifyTimeOf(work, of);
  const receive = radio(sending.listeningTime);
  const flash = energy(flashTime, of('flash_current'), of('supply'));
  const verify = energy(verifyTime, of('compute_current'), of('supply'));
  const once = receive + flash + verify;
  return {
    receive,
    receiveFramesOnly: radio(sending.hearingTime),
    flash,
    verify,
    once,
    minimumBattery: Math.ceil(once * (1 + of('retries'))),
    shareOfCell: once / of('cell'),
    flashTime,
    verifyTime,
  };
}

function flashTimeOf({ programmed, pages, writeUnit }: UnitWork, of: (name: UnitFigure) => number): number {
  const erasing = (pages * of('erase_time')) / 1e3;
  const programming = (Math.ceil(programmed / writeUnit) * of('program_time')) / 1e6;
  return erasing + programming;
}

function verifyTimeOf(work: UnitWork, of: (name: UnitFigure) => number): number {
  const { hashed, decrypted, verifications, verifyFigure } = work;
  const signatures = verifyFigure === undefined ? 0 : (verifications * of(verifyFigure)) / 1e3;
  return hashed / of('hash_rate') + decrypted / of('cipher_rate') + signatures;
}
