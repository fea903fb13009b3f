import { keyJson } from '../../answers/index.ts';
import { createApprover } from '../../authority/index.ts';
import { EXIT } from '../exit.ts';
import { keyTypeOf } from '../key-type.ts';
import { openSession, placeFor } from '../session.ts';
import { showKey } from '../show-key.ts';
import type { Call } from '../spec.ts';

/** Makes a person's key for requests and approvals. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const name = call.args[0]!;
  const person = call.text('person')!;
  const made = await createApprover(
    workspace,
    {
      name,
      person,
      type: keyTypeOf(call),
      place: placeFor(call, workspace)(name),
      people: [person, ...call.texts('witness')],
      backups: call.texts('backup'),
    },
    secrets,
  );
  showKey(call.out, workspace, made.description);
  call.out.fact('person', person);
  call.out.fact('ceremony record', made.ceremony.path);
  call.out.result({
    format: 'fieldseal.key-made/1',
    ...keyJson(made.description, undefined, made.ceremony),
    person,
  });
  return EXIT.done;
}
