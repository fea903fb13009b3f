import { type Exposure, exposureJson, exposureOf } from '../../incident/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const MOST_SHOWN = 12;

/** What a leak of a key means. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const exposure = await exposureOf(workspace, call.args[0]!, call.text('since'));
  show(call, exposure, trialMark(workspace));
  call.out.result(exposureJson(exposure));
  return EXIT.done;
}

function show({ out }: Call, exposure: Exposure, mark: string): void {
  const { subject, releases, byClass, moments } = exposure;
  const { name, kind, fingerprint, root, retired } = subject;
  out.line(`${kind} ${name}${retired ? ' (retired here)' : ''}${mark}`);
  out.fact('fingerprint', fingerprint);
  if (root !== undefined) out.fact('below', root);
  out.line('whoever holds it can make');
  for (const line of exposure.forges) out.line(`  - ${line}`);
  out.line(`it reaches ${subject.units.length} of the units on record`);
  for (const { className, units } of byClass) {
    const serials = units.map(({ serial }) => serial);
    const more = serials.length > MOST_SHOWN ? `, and ${serials.length - MOST_SHOWN} more` : '';
    out.fact(className, `${units.length}: ${serials.slice(0, MOST_SHOWN).join(', ')}${more}`);
  }
  out.line('since when it may be doubted');
  for (const { what, time } of moments) out.fact(time.slice(0, 16), what);
  const doubted = releases.filter(({ inDoubt }) => inDoubt);
  out.line(
    `releases under it: ${releases.length}, in doubt since ${exposure.since.slice(0, 16)}: ${doubted.length}`,
  );
  for (const { className, version, number, sealed } of doubted.slice(-MOST_SHOWN))
    out.fact(`${className} ${version}`, `number ${number}, sealed ${sealed.slice(0, 16)}`);
  if (exposure.beyondRepair.length > 0) out.line('what no command repairs');
  for (const line of exposure.beyondRepair) out.line(`  - ${line}`);
  if (exposure.incident) out.line(`if it leaked: fieldseal incident open ${exposure.incident} --key ${name}`);
}
