import { type Sealed, seal, sealApproved } from '../../release/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { filesOf, progressOf, releaseOptions } from '../images.ts';
import { openSession, type Session, trialMark } from '../session.ts';
import { showDeltas } from '../show-delta.ts';
import type { Call } from '../spec.ts';

/** Seals a release. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const { json, cautions } = await sealCall(call, session);
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
  showApproval(call, json.approval as unknown as Approval | null);
  showEncryption(call, json.encryption as unknown as Encrypted | null);
  const airtime = await showDeltas(call, workspace, json);
  call.out.fact('envelope', `${envelope.size_bytes} B`);
  call.out.fact('record', String(json.record));
  for (const caution of cautions) call.out.caution(caution);
  call.out.result({ ...json, airtime });
  return EXIT.done;
}

interface Approval {
  readonly requested_by: string;
  readonly approvals: readonly { readonly person: string | null; readonly counts: boolean }[];
}

function showApproval(call: Call, approval: Approval | null): void {
  if (!approval) return;
  const names = approval.approvals.filter(({ counts }) => counts).map(({ person }) => person);
  call.out.fact('asked for by', approval.requested_by);
  call.out.fact('approved by', names.join(', '));
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

const SETTLED = [
  ...['class', 'version', 'uri', 'uri-b', 'security-version', 'sequence', 'serial'],
  ...['description', 'reference-uri'],
];
const SETTLED_LISTS = ['signer'];
const SETTLED_SWITCHES = ['detached', 'allow-jump', 'without-text'];

async function sealCall(call: Call, { workspace, secrets }: Session): Promise<Sealed> {
  const place = {
    secrets,
    out: call.text('out')!,
    force: call.flag('force'),
    unfinished: call.flag('unfinished'),
  };
  const request = call.text('request');
  if (request !== undefined) {
    requireNothingElse(call);
    const more = { ...filesOf(call), module: call.text('module'), ...progressOf(call) };
    return sealApproved({ workspace, request, ...more, ...place });
  }
  const className = call.text('class');
  if (className === undefined || call.text('version') === undefined)
    throw wrongUse('--class and --version are missing', 'give both, or --request for what was approved');
  return seal({ ...(await releaseOptions(call, workspace, className)), ...place });
}

function requireNothingElse(call: Call): void {
  const given = [
    ...SETTLED.filter((name) => call.text(name) !== undefined),
    ...SETTLED_SWITCHES.filter((name) => call.flag(name)),
    ...SETTLED_LISTS.filter((name) => call.texts(name).length > 0),
  ];
  if (given.length === 0) return;
  throw wrongUse(
    `--request settles what is sealed, and does not go with ${given.map((name) => `--${name}`).join(', ')}`,
    'leave it out; to change it, make a new request',
  );
}
