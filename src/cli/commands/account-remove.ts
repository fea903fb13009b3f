import { Accounts } from '../../server/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Takes an account of the desk away. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const name = call.args[0]!;
  new Accounts(workspace).remove(name);
  call.out.line(`account ${name} is gone; sessions it has open end when the desk closes`);
  call.out.result({ format: 'fieldseal.account-removed/1', name });
  return EXIT.done;
}
