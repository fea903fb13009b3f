import { reissueOf } from '../../fleet/index.ts';
import { freezeRequest, requestJson, seal } from '../../release/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { filesOf, progressOf } from '../images.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const RELEASE = /^([^/]+)\/(\d{1,19})$/;
const CAUTION =
  'rehearse it and begin with a pilot, as with any release; units on the bad release take it for an update. For a product under a safety or approval standard, that standard and qualified practice decide whether old code may run again';

/** Seals an earlier release again under a higher number, or asks for it where somebody must approve it. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const [, className, number] = RELEASE.exec(call.text('release')!) ?? [];
  if (className === undefined)
    throw wrongUse(
      `--release ${call.text('release')}: expected CLASS/NUMBER`,
      'for example --release vent/3',
    );
  const { approvals } = await readClass(workspace, className);
  const reissued = await reissueOf({
    workspace,
    className,
    release: BigInt(number!),
    images: filesOf(call).images,
    securityVersion: call.count('security-version'),
  });
  const asked = {
    ...{ workspace, secrets, ...reissued, signers: call.texts('signer'), module: call.text('module') },
    ...progressOf(call),
  };
  if (approvals > 0) return askFor(call, asked);
  if (call.text('out') === undefined) throw wrongUse('--out is missing', 'for example --out vent-again.suit');
  const { json, cautions } = await seal({ ...asked, out: call.text('out')! });
  call.out.line(`sealed ${call.text('out')} again${trialMark(workspace)}: version ${json.version}`);
  call.out.fact('sequence number', `${json.sequence_number}, before ${number}`);
  call.out.fact('security version', String(json.security_version));
  for (const caution of [...cautions, CAUTION]) call.out.caution(caution);
  call.out.line(`next: fieldseal broadcast begin ${className} ${call.text('out')} --plan FILE --depot DIR`);
  call.out.result({ ...json, reissue_of: `${className}/${number}` });
  return EXIT.done;
}

type Asked = Omit<Parameters<typeof seal>[0], 'out'>;

async function askFor(call: Call, asked: Asked): Promise<number> {
  const requester = call.text('requester');
  if (requester === undefined)
    throw wrongUse(
      `releases of class ${asked.className} need the approval of somebody else`,
      'say who asks: --requester NAME; then approve, then seal with --request',
    );
  const { opened, cautions } = await freezeRequest({ ...asked, requester });
  const json = requestJson(opened);
  call.out.line(
    `asked for as ${json.request}; next, by somebody else: fieldseal approve ${json.request} --approver NAME`,
  );
  call.out.line(`then: fieldseal seal ${asked.images[0]!.path} --request ${json.request} --out FILE`);
  for (const caution of [...cautions, CAUTION]) call.out.caution(caution);
  call.out.result({ ...json, cautions, reissue_of: call.text('release')! });
  return EXIT.done;
}
