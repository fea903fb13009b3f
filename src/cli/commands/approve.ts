import { approve, openRequest, requestJson } from '../../release/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession } from '../session.ts';
import { showRequest } from '../show-request.ts';
import type { Call } from '../spec.ts';

/** Digits of a digest that a person compares at least: 64 bits, beyond what anybody searches for by chance. */
const FEWEST_DIGITS = 16;

/** Approves a sealing request. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const approver = call.text('approver')!;
  const wanted = digestWanted(call);
  const { opened, record } = await approve({
    workspace,
    secrets,
    module: call.text('module'),
    request: call.args[0]!,
    approver,
    days: call.count('days'),
    imageDigest: wanted,
    show: (request) => showRequest(call.out, requestJson(request)),
  });
  const json = requestJson(await openRequest(workspace, opened.record));
  call.out.line(`approved by ${approver}: ${json.counted} of ${json.needed}`);
  call.out.fact('record', record);
  if (wanted === undefined)
    call.out.caution(
      'the digest was not compared with the build: give it with --image-digest, from the build itself',
    );
  call.out.result({
    ...json,
    format: 'fieldseal.approved/1',
    approver,
    record,
    digest_compared: wanted !== undefined,
  });
  return EXIT.done;
}

function digestWanted(call: Call): string | undefined {
  const text = call.text('image-digest')?.toLowerCase();
  if (text === undefined || (/^[0-9a-f]{16,64}$/.test(text) && text.length >= FEWEST_DIGITS)) return text;
  throw wrongUse(`--image-digest ${text}: expected 16 to 64 hexadecimal digits`, 'take it from the build');
}
