/** Hands attacks to units and holds the units to what they promise, whatever they are handed. */
import { equal, sourceOf, toHex } from '../../../src/bytes/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { openEnvelope } from '../../../src/suit/index.ts';
import {
  type Flash,
  type InstallResult,
  judgeInstall,
  judgeStored,
  PowerCut,
  REFUSALS,
  type Refusal,
  type StartResult,
  stepOf,
  toJson,
  type Unit,
} from '../../../src/unit/index.ts';
import type { Attack, Payload, Tampering } from './attack.ts';
import { RADIO_SIZE } from './composed.ts';
import { offerOf } from './offer.ts';
import { type Powered, type PowerOptions, power } from './power.ts';
import type { Rig } from './rig.ts';
import { SpyStore, TiredFlash } from './spy.ts';

/** Where a case ended: the step that refused, or what became of it. */
export type Ending =
  | Refusal['step']
  | 'accepted: what was sealed'
  | 'accepted: sealed anew'
  | 'incomplete'
  | 'power cut'
  | 'no effect';

/** A promise that a unit broke. */
export class Violation extends Error {
  override readonly name = 'Violation';
}

function promise(holds: boolean, told: () => string): void {
  if (!holds) throw new Violation(told());
}

const FIRST_STEP_THAT_WRITES = stepOf('content').number;
const CODES = new Map(REFUSALS.map((row) => [row.code, row.step]));
/** Every so many verdicts are written out as JSON, for texts are put together only then. */
const WRITTEN_OUT = 8;

/** One unit that takes case after case. Memory is set aside once; a unit that was written to begins anew. */
export class Bench {
  readonly rig: Rig;
  readonly #store: SpyStore;
  /** Security version of each genuine manifest, by its digest. */
  readonly #genuine: ReadonlyMap<string, number>;
  readonly #commitOrders = new Map<string, readonly [number, number]>();
  #idle: Powered | undefined;
  #verdicts = 0;

  constructor(rig: Rig) {
    this.rig = rig;
    this.#store = new SpyStore(rig.kept);
    const genuine = [...rig.offers, ...rig.encrypted, ...rig.byDelta, ...rig.others];
    this.#genuine = new Map(genuine.map((each) => [toHex(each.manifestDigest), each.securityVersion]));
  }

  /** Carries out one attack. Throws `Violation` where a promise is broken; anything else thrown is a crash. */
  judge(attack: Attack): Ending {
    try {
      return attack.kind === 'payload' ? this.#judgePayload(attack) : this.#judgeTampering(attack);
    } catch (error) {
      this.#idle = undefined;
      throw error;
    }
  }

  #judgePayload(payload: Payload): Ending {
    if (payload.fault) return this.#judgeFaulty(payload);
    const powered = this.#idle ?? this.#begin(this.rig.kept, 0);
    this.#idle = powered;
    return this.#settle(payload, powered, powered.unit.install(offerOf(payload)));
  }

  /** What must hold after an install, whatever it said. */
  #settle(payload: Payload, powered: Powered, result: InstallResult): Ending {
    const { refusal, verdict } = result;
    const early = refusal !== null && stepOf(refusal.step).number < FIRST_STEP_THAT_WRITES;
    promise(!(early && this.#store.writes > 0), () => `${refusal?.step} refused, and flash was written to`);
    this.#requireSpared();
    this.#requireSoundVerdict(result);
    const digest = result.facts.manifestDigest;
    if (verdict === 'accepted') this.#requireSealed(payload, result.facts);
    if (this.#store.writes > 0)
      this.#startAfter(powered, payload, verdict === 'accepted' ? digest : undefined);
    if (refusal) return refusal.step;
    if (verdict === 'incomplete') return 'incomplete';
    return this.#genuine.has(toHex(digest!)) ? 'accepted: what was sealed' : 'accepted: sealed anew';
  }

  #requireSpared(): void {
    promise(this.#store.breaches.length === 0, () => this.#store.breaches[0]!);
  }

  #requireSoundVerdict(result: InstallResult): void {
    const { refusal, verdict } = result;
    promise((verdict === 'refused') === (refusal !== null), () => `${verdict} with refusal ${refusal?.code}`);
    if (refusal)
      promise(CODES.get(refusal.code) === refusal.step, () => `${refusal.code} at ${refusal.step}`);
    if (this.#verdicts++ % WRITTEN_OUT === 0) JSON.stringify(toJson(result));
  }

  /** Outsiders get nothing accepted but what was sealed, under the headers it was sealed with. */
  #requireSealed(
    { sealed, unsealed }: Payload,
    { manifestDigest, securityVersion }: InstallResult['facts'],
  ): void {
    const digest = manifestDigest!;
    promise(!unsealed, () => 'accepted, and the seal is none');
    if (sealed.some((each) => equal(each, digest))) return;
    const genuine = this.#genuine.get(toHex(digest));
    promise(genuine !== undefined, () => `accepted, and nobody sealed ${toHex(digest)}`);
    promise(
      securityVersion === genuine,
      () => `accepted with security version ${securityVersion}, not ${genuine}`,
    );
  }

  /**
   * After a write the unit is started. `accepted`: what must run then, the kept image otherwise; where flash fails that
   * still runs, for the new one cannot be marked as on trial.
   */
  #startAfter({ unit, flash }: Powered, payload: Payload, accepted: Uint8Array | undefined): void {
    this.#idle = undefined;
    this.#store.open = this.#whereStartWrites();
    const allowed = [...payload.sealed, ...this.#genuineDigests()];
    const running = this.#requireGenuineStart(unit, flash, unit.start(), allowed);
    this.#requireSpared();
    promise(running !== undefined, () => 'nothing starts, though a kept image is on board');
    const kept = this.rig.digests[0]!;
    const right = equal(running!, accepted ?? kept) || (payload.fault !== undefined && equal(running!, kept));
    promise(right, () => `manifest ${toHex(running!)} runs, and ${toHex(accepted ?? kept)} should`);
  }

  #genuineDigests(): Uint8Array[] {
    const { offers, encrypted, byDelta, digests } = this.rig;
    return [...[...offers, ...encrypted, ...byDelta].map(({ manifestDigest }) => manifestDigest), ...digests];
  }

  /** Only a staged image moves at a start, into the slot that runs. */
  #whereStartWrites() {
    return this.rig.shape === 'staged' ? [{ offset: 0, size: this.#store.size }] : this.rig.free;
  }

  /**
   * Looks at what was started with nothing but the flash: the envelope kept with it has the digest it names, somebody
   * sealed that digest, and the bytes of the image have a digest that the manifest names. Gives the manifest's digest.
   */
  #requireGenuineStart(
    unit: Unit,
    flash: Flash,
    result: StartResult,
    allowed: readonly Uint8Array[],
  ): Uint8Array | undefined {
    if (!result.started) return undefined;
    const { image, facts } = result.started;
    const slot = this.rig.record.memory.slots.findIndex(({ name }) => name === image);
    const mark = unit.marks()!.slots[slot]!;
    const kept = flash.read(unit.layout.envelopes[slot]!.offset, mark.envelopeLength);
    const { manifest, manifestBstr } = openEnvelope(sourceOf(kept));
    const digest = sha256(manifestBstr);
    promise(
      allowed.some((each) => equal(each, digest)),
      () => `started, and nobody sealed ${toHex(digest)}`,
    );
    const found = sha256(flash.read(unit.layout.slots[slot]!.offset, facts!.imageSize));
    const named = Buffer.from(manifest).includes(Buffer.from(found));
    promise(
      named,
      () => `the image in slot ${image} has digest ${toHex(found)}, which its manifest does not name`,
    );
    this.#requireGenuineRadio(unit, flash, slot);
    return digest;
  }

  /** Beside an image there runs what the radio's maker sealed, whoever sealed the rest. */
  #requireGenuineRadio(unit: Unit, flash: Flash, slot: number): void {
    const { radio } = this.rig;
    if (!radio) return;
    const found = flash.read(unit.layout.components[0]![slot]!.offset, RADIO_SIZE);
    promise(
      radio.images.some((each) => equal(each, found)),
      () => `a radio image runs beside slot ${slot}, and its maker never sealed it`,
    );
  }

  #begin(content: Uint8Array, running: number | undefined, options: PowerOptions = {}): Powered {
    this.#store.restore(content);
    return power(this.rig.record, this.#store, { running, decision: this.#watched(), ...options });
  }

  /** The real decision; writing is allowed only once it has been made. */
  #watched() {
    return {
      judgeInstall: (...request: Parameters<typeof judgeInstall>) => {
        const plan = judgeInstall(...request);
        this.#store.open = this.rig.free;
        return plan;
      },
      judgeStored,
    };
  }

  #judgeFaulty(payload: Payload): Ending {
    this.#idle = undefined;
    const fault = payload.fault!;
    if ('cut' in fault) return this.#judgeCut(payload, this.#begin(this.rig.kept, 0, { cut: fault.cut }));
    const [first, last] = this.#ordersOf(payload);
    const most =
      fault.orders === 'commit'
        ? first + (payload.envelope.length % (last - first + 1))
        : payload.envelope.length % (last + 1);
    const powered = this.#begin(this.rig.kept, 0, { through: (flash: Flash) => new TiredFlash(flash, most) });
    return this.#settle(payload, powered, powered.unit.install(offerOf(payload)));
  }

  /** The first flash order of the commit, and how many there are in all, when nothing fails. */
  #ordersOf(payload: Payload): readonly [number, number] {
    const key = `${payload.envelope.length} ${payload.image?.length}`;
    const known = this.#commitOrders.get(key);
    if (known) return known;
    let tired: TiredFlash | undefined;
    const through = (flash: Flash) => (tired = new TiredFlash(flash, Number.POSITIVE_INFINITY));
    const { unit } = this.#begin(this.rig.kept, 0, { through });
    unit.install(offerOf(payload));
    const { orders } = tired!;
    const first = orders.findLastIndex((offset) => offset < unit.layout.state.offset) + 1;
    const found = [first, orders.length] as const;
    this.#commitOrders.set(key, found);
    return found;
  }

  /** The power goes; the unit comes back with what is in flash. */
  #judgeCut(payload: Payload, powered: Powered): Ending {
    try {
      return this.#settle(payload, powered, powered.unit.install(offerOf(payload)));
    } catch (error) {
      if (!(error instanceof PowerCut)) throw error;
    }
    this.#requireSpared();
    this.#store.open = this.#whereStartWrites();
    const { unit, flash } = power(this.rig.record, this.#store, { decision: this.#watched() });
    const allowed = [...payload.sealed, ...this.#genuineDigests()];
    const running = this.#requireGenuineStart(unit, flash, unit.start(), allowed);
    promise(running !== undefined, () => 'nothing starts after a power cut');
    return 'power cut';
  }

  #judgeTampering({ moment, change }: Tampering): Ending {
    this.#idle = undefined;
    const { ready, onTrial } = this.rig;
    this.#store.restore(moment === 'ready' ? ready : onTrial);
    change(this.#store.bytes);
    this.#store.open = this.#whereStartWrites();
    const running = this.rig.shape === 'staged' ? 0 : 1;
    const powered = power(this.rig.record, this.#store, moment === 'ready' ? {} : { running });
    return moment === 'ready' ? this.#startTampered(powered) : this.#keepTampered(powered);
  }

  #startTampered({ unit, flash }: Powered): Ending {
    const result = unit.start();
    const running = this.#requireGenuineStart(unit, flash, result, this.rig.digests);
    const over = result.passedOver.some(({ refusal }) => refusal.step === 'start');
    promise(over || running !== undefined, () => 'nothing starts, and no slot was passed over');
    return over ? 'start' : 'no effect';
  }

  /** What is kept must be what a later start takes, and floors may not move without it. */
  #keepTampered({ unit, flash }: Powered): Ending {
    const before = unit.marks()?.floors;
    const result = unit.keep();
    if (result.refusal) {
      const same = JSON.stringify(unit.marks()?.floors, bigText) === JSON.stringify(before, bigText);
      promise(same, () => 'floors moved though nothing was kept');
      return result.refusal.step;
    }
    const running = this.#requireGenuineStart(unit, flash, unit.start(), this.rig.digests);
    promise(running !== undefined, () => 'kept, and does not start');
    return 'no effect';
  }
}

const bigText = (_key: string, value: unknown) => (typeof value === 'bigint' ? String(value) : value);
