import {
  CHALLENGE_REFUSALS,
  NONCE_BYTES,
  type RegionRequest,
  resolveRegion,
  writeChallenge,
} from '../../attestation/index.ts';
import { toHex } from '../../bytes/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import { parseSize } from '../../image/index.ts';
import { parseUuid } from '../../suit/index.ts';
import { filesOn, keepChallenge } from '../../workspace/index.ts';
import { unitOnRecord } from '../attested-unit.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const USUAL_HOURS = 24;
const HOUR = 3_600_000;

/** Makes a challenge for one unit and takes it down. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const [className, serial] = call.args as [string, string];
  const file = call.text('out')!;
  if (!call.flag('force')) requireFree(file);
  const unit = unitOnRecord(workspace, className, serial);
  const region = regionOf(call);
  requireMeasurable(region, unit);
  const nonce = randomBytes(nonceLength(call));
  const made = workspace.now();
  const expires = new Date(made.getTime() + (call.count('hours') ?? USUAL_HOURS) * HOUR);
  keepChallenge(workspace, nonce, {
    class: className,
    serial,
    device_id: unit.deviceId,
    region: 'name' in region ? region : { address: region.address, size_bytes: region.length },
    made: made.toISOString(),
    expires: expires.toISOString(),
  });
  const bytes = writeChallenge({ nonce, deviceId: parseUuid(unit.deviceId), region });
  filesOn().replace(file, bytes);
  call.out.line(`challenge for ${className} ${serial}${trialMark(workspace)}`);
  call.out.fact(
    'region',
    'name' in region ? region.name : `0x${region.address.toString(16)}, ${region.length} B`,
  );
  call.out.fact(
    'challenge',
    `${file}, ${bytes.length} B, good for one answer until ${expires.toISOString()}`,
  );
  call.out.result({
    format: 'fieldseal.challenge-made/1',
    class: className,
    serial,
    device_id: unit.deviceId,
    nonce: toHex(nonce),
    region: 'name' in region ? { name: region.name } : { address: region.address, size_bytes: region.length },
    expires: expires.toISOString(),
    file,
    size_bytes: bytes.length,
  });
  return EXIT.done;
}

/** The region that --region names, or --address and --length give; without either, what runs. */
function regionOf(call: Call): RegionRequest {
  const [address, length] = [call.text('address'), call.text('length')];
  const name = call.text('region');
  if (address === undefined && length === undefined) return { name: name ?? 'running' };
  if (name !== undefined || address === undefined || length === undefined) {
    throw wrongUse(
      'a region has a name, or an address and a length',
      'for example --address 0x08001000 --length 4KiB',
    );
  }
  if (!/^(?:0x[0-9a-fA-F]{1,13}|\d{1,15})$/.test(address)) {
    throw wrongUse(`--address ${address}: expected an address`, 'for example --address 0x08001000');
  }
  return { address: Number(address), length: parseSize(length) };
}

/** A challenge that a sound unit would not answer is not made. */
function requireMeasurable(region: RegionRequest, unit: ReturnType<typeof unitOnRecord>): void {
  if ('name' in region && region.name === 'running') return;
  const found = resolveRegion(region, { memory: unit.memory, allowed: unit.regions }, undefined);
  if (typeof found !== 'string') return;
  const { says, next } = CHALLENGE_REFUSALS[found];
  throw wrongUse(`${says}: no challenge was made`, next);
}

function nonceLength(call: Call): number {
  const length = call.count('nonce-bytes') ?? NONCE_BYTES.usual;
  if (length >= NONCE_BYTES.least && length <= NONCE_BYTES.most) return length;
  throw wrongUse(
    `--nonce-bytes ${length}: a nonce has ${NONCE_BYTES.least} to ${NONCE_BYTES.most} bytes (RFC 9711 section 4.1)`,
  );
}
