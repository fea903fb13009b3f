import { Accounts, type Role } from '../../server/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Makes an account for the desk. */
export async function run(call: Call): Promise<number> {
  const { workspace, secrets } = await openSession(call);
  const [name, role] = [call.args[0]!, call.text('role') as Role];
  const accounts = new Accounts(workspace);
  // Before anybody is asked for a password.
  accounts.requireFree(name);
  const program = call.flag('program');
  let token: string | null = null;
  if (program) token = accounts.addProgram(name, role);
  else {
    const password = await secrets.passphrase({
      keyName: `account ${name}`,
      purpose: 'working',
      fresh: true,
    });
    try {
      await accounts.addPerson(name, role, password);
    } finally {
      password.fill(0);
    }
  }
  call.out.line(`account ${name}, ${role}`);
  if (token) {
    call.out.fact('token', token);
    call.out.caution('the token is shown this once; whoever has it may do what the account may');
  }
  call.out.result({ format: 'fieldseal.account/1', name, role, program, token });
  return EXIT.done;
}
