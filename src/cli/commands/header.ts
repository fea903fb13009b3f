import { anchorsOf, cHeader, type HeaderFacts, macKeyOf } from '../../provision/index.ts';
import { formatUuid } from '../../suit/index.ts';
import { classKeys, type DeviceClass, readClass, type Workspace } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Writes the C99 header of a class's bootloader. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  const file = call.text('out')!;
  const text = cHeader(factsOf(workspace, deviceClass, call.count('key-slot') ?? 0));
  const out = workspace.files.beginOutput(file, { force: true });
  out.write(new TextEncoder().encode(text));
  out.settle();
  out.commit();
  call.out.line(`${file} written for class ${deviceClass.name}${trialMark(workspace)}`);
  call.out.caution(
    'the anchor it holds must be locked on the part, and the lock proved; see docs/deployment-profile.md.',
  );
  if (deviceClass.rights) {
    call.out.caution(
      'the access control list of the class is not in it: a bootloader of yours must bring its own.',
    );
  }
  call.out.result({ format: 'fieldseal.header/1', class: deviceClass.name, file, size_bytes: text.length });
  return EXIT.done;
}

function factsOf(workspace: Workspace, deviceClass: DeviceClass, keySlot: number): HeaderFacts {
  return {
    className: deviceClass.name,
    vendorDomain: workspace.vendorDomain,
    trial: workspace.kind === 'trial',
    profile: deviceClass.profile.name,
    algorithm: deviceClass.profile.authentication.id,
    vendorId: formatUuid(workspace.vendorId),
    classIds: deviceClass.classIds.map(formatUuid),
    clock: deviceClass.clock,
    trialAttempts: deviceClass.trialAttempts,
    // A boot loader judges releases; another author's root would vouch for them too if it stood among these.
    anchors: anchorsOf(workspace, deviceClass)
      .filter(({ purpose }) => purpose !== 'dependency')
      .map((anchor) => ({ ...anchor, spare: anchor.purpose === 'spare' })),
    macKeys: macKeysOf(workspace, deviceClass, keySlot),
    floors: {
      sequenceNumber: 0n,
      securityVersion: 0,
      signerGeneration: deviceClass.certificatePolicy.minimumSignerGeneration,
    },
    memory: deviceClass.memory,
    policy: deviceClass.policy,
  };
}

function macKeysOf(workspace: Workspace, deviceClass: DeviceClass, keySlot: number): HeaderFacts['macKeys'] {
  if (deviceClass.scheme === 'asymmetric') return [];
  const { description } =
    classKeys(workspace, deviceClass.name)[0] ?? macKeyOf(workspace, deviceClass, undefined);
  const { name: label, fingerprint } = description;
  return [{ label, id: fingerprint, slot: keySlot, checkValue: fingerprint }];
}
