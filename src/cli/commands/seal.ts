import type { ImageFormat } from '../../image/index.ts';
import { type ImageInput, type SealProgress, type SealRequest, seal } from '../../release/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { deviceOf } from '../device.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Seals a release. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const { json, cautions } = await seal({ ...(await requestOf(call, workspace)), secrets });
  const image = json.image as { size_bytes: number; digest: string };
  const envelope = json.envelope as { file: string; size_bytes: number };
  const signers = json.signers as { name: string }[];
  const macKeys = json.mac_keys as { name: string }[];
  call.out.line(`sealed ${envelope.file}${trialMark(workspace)}`);
  call.out.fact('class', `${json.class}  ${json.class_id}`);
  call.out.fact('version', `${json.version}, sequence number ${json.sequence_number}`);
  call.out.fact('image', `${image.size_bytes} B  sha-256 ${image.digest}`);
  call.out.fact('manifest digest', String(json.manifest_digest));
  call.out.fact(
    'sealed by',
    [...signers.map(({ name }) => `signer ${name}`), ...macKeys.map(({ name }) => `MAC key ${name}`)].join(
      ', ',
    ),
  );
  showEncryption(call, json.encryption as unknown as Encrypted | null);
  call.out.fact('envelope', `${envelope.size_bytes} B`);
  call.out.fact('record', String(json.record));
  for (const caution of cautions) call.out.caution(caution);
  call.out.result(json);
  return EXIT.done;
}

interface Encrypted {
  readonly algorithm: string;
  readonly recipients: {
    readonly kind: string;
    readonly count: number;
    readonly algorithm: string;
    readonly size_bytes_each: number;
    readonly size_bytes: number;
  };
}

function showEncryption(call: Call, encrypted: Encrypted | null): void {
  if (!encrypted) return;
  const { kind, count, algorithm, size_bytes_each, size_bytes } = encrypted.recipients;
  call.out.fact('encrypted', `${encrypted.algorithm}, content key sent by ${algorithm}`);
  call.out.fact(
    'recipients',
    `${count} (${kind}), ${size_bytes_each} B each, ${size_bytes} B in all for each image`,
  );
}

async function requestOf(call: Call, workspace: Workspace): Promise<Omit<SealRequest, 'secrets'>> {
  const className = call.text('class')!;
  return {
    workspace,
    className,
    images: imagesOf(call),
    version: call.text('version')!,
    out: call.text('out')!,
    force: call.flag('force'),
    detached: call.flag('detached'),
    signers: call.texts('signer'),
    unfinished: call.flag('unfinished'),
    securityVersion: call.count('security-version'),
    sequence: call.big('sequence'),
    allowJump: call.flag('allow-jump'),
    deviceId: await deviceOf(call, workspace, className),
    description: call.text('description'),
    withoutText: call.flag('without-text'),
    referenceUri: uriOf(call.text('reference-uri')),
    module: call.text('module'),
    progress: ({ doing, doneBytes, totalBytes }: SealProgress) =>
      call.out.progress(doing, doneBytes, totalBytes),
    growing: (done: number, total: number) => call.out.progress('growing a tree', done, total),
  };
}

function uriOf(text: string | undefined): string | undefined {
  if (text === undefined || URL.canParse(text)) return text;
  throw wrongUse(
    `--reference-uri ${text}: not an absolute URI`,
    'for example https://hollinridge.example/vent/12',
  );
}

function imagesOf(call: Call): ImageInput[] {
  const format = call.text('image-format') as ImageFormat | undefined;
  const slotB = call.text('slot-b');
  return [
    { path: call.args[0]!, format, uri: call.text('uri') },
    ...(slotB === undefined ? [] : [{ path: slotB, format, uri: call.text('uri-b') }]),
  ];
}
