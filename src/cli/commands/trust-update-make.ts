import { makeTrustUpdate } from '../../release/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

/** Makes a trust update. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const asked = {
    deny: call.texts('deny'),
    retireRoots: call.texts('retire-root'),
    minimumGeneration: call.count('minimum-generation'),
    securityVersion: call.count('security-version'),
  };
  if (Object.values(asked).every((each) => each === undefined || (Array.isArray(each) && each.length === 0)))
    throw wrongUse(
      'say what changes',
      'with --deny, --minimum-generation, --retire-root or --security-version',
    );
  const json = await makeTrustUpdate({
    workspace,
    secrets,
    className: call.args[0]!,
    ...asked,
    signer: call.text('signer'),
    out: call.text('out')!,
    force: call.flag('force'),
    module: call.text('module'),
    growing: (done: number, total: number) => call.out.progress('growing a tree', done, total),
  });
  const list = (keys: unknown) => (keys as string[]).map((key) => key.slice(0, 16)).join(', ') || 'none';
  call.out.line(`made ${json.file}${trialMark(workspace)}`);
  call.out.fact('class', `${json.class}, trust update ${json.number}`);
  call.out.fact('denied keys', list(json.denied));
  call.out.fact('retired roots', list(json.retired_roots));
  call.out.fact('lowest generation', String(json.minimum_generation));
  call.out.fact('security floor', json.security_version === 0 ? 'unchanged' : String(json.security_version));
  call.out.fact('signed by', `${(json.signer as { name: string }).name}, below ${json.root} (${json.rank})`);
  call.out.fact('record', String(json.record));
  call.out.caution(
    'what a unit takes from it is never taken back; try it on one unit first: fieldseal check, install',
  );
  call.out.caution('send it by every channel; a unit that did not hear it still believes the old keys');
  call.out.result({ ...json, format: 'fieldseal.trust-update-made/1' });
  return EXIT.done;
}
