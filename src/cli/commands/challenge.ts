import { CHALLENGE_REFUSALS, NONCE_BYTES, type RegionRequest } from '../../attestation/index.ts';
import { parseSize } from '../../image/index.ts';
import { makeChallenge, notMeasurable, type UnitOnRecord, unitOnRecord } from '../../verifier/index.ts';
import { filesOn } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { requireFree } from '../require-free.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Makes a challenge for one unit and takes it down. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const [className, serial] = call.args as [string, string];
  const file = call.text('out')!;
  if (!call.flag('force')) requireFree(file);
  const unit = requireUnit(unitOnRecord(workspace, className, serial), className, serial);
  const region = regionOf(call);
  requireMeasurable(region, unit);
  const { bytes, expires, json } = makeChallenge(workspace, unit, region, {
    nonceBytes: nonceLength(call),
    hours: call.count('hours'),
  });
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
    ...json,
    file,
    size_bytes: bytes.length,
  });
  return EXIT.done;
}

function requireUnit(unit: UnitOnRecord | undefined, className: string, serial: string): UnitOnRecord {
  if (unit) return unit;
  throw wrongUse(
    `no unit ${serial} of class ${className} is on record`,
    'take in its batch result first (fieldseal batch accept), or compare the serial number with its label',
  );
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
function requireMeasurable(region: RegionRequest, unit: UnitOnRecord): void {
  const refusal = notMeasurable(region, unit);
  if (!refusal) return;
  const { says, next } = CHALLENGE_REFUSALS[refusal];
  throw wrongUse(`${says}: no challenge was made`, next);
}

function nonceLength(call: Call): number | undefined {
  const length = call.count('nonce-bytes');
  if (length === undefined) return undefined;
  if (length >= NONCE_BYTES.least && length <= NONCE_BYTES.most) return length;
  throw wrongUse(
    `--nonce-bytes ${length}: a nonce has ${NONCE_BYTES.least} to ${NONCE_BYTES.most} bytes (RFC 9711 section 4.1)`,
  );
}
