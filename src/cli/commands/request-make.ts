import { freezeRequest, requestJson } from '../../release/index.ts';
import { EXIT } from '../exit.ts';
import { releaseOptions } from '../images.ts';
import { openSession } from '../session.ts';
import { showRequest } from '../show-request.ts';
import type { Call } from '../spec.ts';

/** Asks for a release to be sealed. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const { opened, cautions } = await freezeRequest({
    ...(await releaseOptions(call, workspace, call.text('class')!)),
    secrets,
    requester: call.text('requester')!,
    days: call.count('days'),
  });
  const json = requestJson(opened);
  showRequest(call.out, json);
  for (const caution of cautions) call.out.caution(caution);
  call.out.line(`next, by somebody else: fieldseal approve ${json.request} --approver NAME`);
  call.out.result({ ...json, cautions });
  return EXIT.done;
}
