import { Accounts } from '../../server/index.ts';
import { EXIT } from '../exit.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Lists the accounts of the desk. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const accounts = new Accounts(workspace)
    .list()
    .map(({ name, role, token_sha256 }) => ({ name, role, program: token_sha256 !== undefined }));
  call.out.line(`${accounts.length} ${accounts.length === 1 ? 'account' : 'accounts'}`);
  for (const { name, role, program } of accounts) call.out.fact(name, program ? `${role}, a program` : role);
  call.out.result({ format: 'fieldseal.accounts/1', accounts });
  return EXIT.done;
}
