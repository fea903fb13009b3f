import { announce, clearCaution, Depot, openHerald, type Reach } from '../../broadcast/index.ts';
import { fromHex, toHex } from '../../bytes/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import { deviceId } from '../../provision/index.ts';
import { formatUuid, parseUuid } from '../../suit/index.ts';
import { type DeviceClass, readClass } from '../../workspace/index.ts';
import { brokerOf } from '../broker.ts';
import { dateOf } from '../date.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { requireNoBroadcast } from '../fleet.ts';
import { accessTo, openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const USUAL_DAYS = 14;
const DAY_MS = 86_400_000;
const WHOLE = 1000;
const LOT_LENGTH = 16;

/** Announces a release, or that nothing is offered. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const deviceClass = await readClass(workspace, call.args[0]!);
  await requireNoBroadcast(workspace, deviceClass);
  const envelope = call.args[1];
  const notBefore = dateOf(call, 'from') ?? workspace.now();
  const reach = reachOf(call, deviceClass);
  const broker = brokerOf(call);
  const herald = broker && (await openHerald(broker));
  const json = await announce({
    workspace,
    deviceClass,
    depot: new Depot(call.text('depot')!),
    herald,
    offered: envelope === undefined ? undefined : { envelope, images: call.texts('image') },
    wave: call.text('wave') ?? 'all',
    reach,
    notBefore,
    expiry: new Date(notBefore.getTime() + (call.count('days') ?? USUAL_DAYS) * DAY_MS),
    condition: conditionOf(call),
    signerName: call.text('signer'),
    accessTo: (name) => accessTo(session, name, call.text('module')),
  }).finally(() => herald?.close());
  call.out.line(`announced to class ${deviceClass.name}, counter ${json.counter}${trialMark(workspace)}`);
  call.out.fact('offers', json.offer === null ? 'nothing' : `envelope sha-256 ${json.offer}`);
  call.out.fact('wave', String(json.wave));
  call.out.fact('reaches', reachText(reach));
  call.out.fact('until', String(json.expires));
  if (reach.kind === 'share') call.out.fact('lot', toHex(reach.lot));
  if (broker) call.out.fact('published at', broker.url.host);
  call.out.caution(
    'a pilot group with every hardware revision first; write the rule for stopping before the wave starts',
  );
  const clear = envelope && clearCaution(deviceClass, envelope);
  if (clear) call.out.caution(clear);
  call.out.result({ ...json, lot: reach.kind === 'share' ? toHex(reach.lot) : null });
  return EXIT.done;
}

function reachOf(call: Call, { classIds }: DeviceClass): Reach {
  const serials = call.texts('serial');
  const share = call.count('share') ?? WHOLE;
  if (serials.length > 0) {
    const ids = serials.map((serial) => parseUuid(deviceId({ class_ids: classIds.map(formatUuid) }, serial)));
    return {
      kind: 'units',
      units: [...new Map(ids.map((id) => [toHex(id), id])).values()].sort(Buffer.compare),
    };
  }
  if (share > WHOLE) throw wrongUse(`--share ${share}: a share is at most ${WHOLE} of a thousand`);
  return { kind: 'share', permille: share, lot: lotOf(call.text('lot')) };
}

function conditionOf(call: Call): string | undefined {
  const condition = call.text('condition');
  if (condition === undefined || /^[^\p{Cc}]{1,64}$/u.test(condition)) return condition;
  throw wrongUse(
    `--condition ${condition}: expected 1 to 64 characters`,
    'for example --condition vents-closed',
  );
}

function lotOf(text: string | undefined): Uint8Array {
  if (text === undefined) return randomBytes(LOT_LENGTH);
  if (/^[0-9a-f]{32}$/i.test(text)) return fromHex(text.toLowerCase());
  throw wrongUse(
    `--lot ${text}: a lot is ${LOT_LENGTH} bytes in hexadecimal`,
    'an earlier announcement told it',
  );
}

function reachText(reach: Reach): string {
  return reach.kind === 'share'
    ? `${reach.permille} of a thousand units`
    : `${reach.units.length} units by name`;
}
