import type { Problem } from '../api.ts';
import type { Act, OpenedKey } from './act-form.tsx';
import { Field } from './field.tsx';
import { Tell } from './tell.tsx';

/** What opens the keys of an act, as it is being typed. */
export interface Secrets {
  /** The signer that was chosen; empty where none was. */
  readonly signer: string;
  readonly passphrase: string;
  readonly pin: string;
  /** Passphrase or PIN of the root. */
  readonly root: string;
}

export const NOTHING_TYPED: Secrets = { signer: '', passphrase: '', pin: '', root: '' };

/** The part of the request that opens them. */
export function secretsRequest({ root: opensRoot }: Act, { root, ...working }: Secrets): object {
  const given = Object.entries(working).filter(([, value]) => value !== '');
  return {
    ...Object.fromEntries(given),
    ...(opensRoot && root && { root: { [secretOf(opensRoot)]: root } }),
  };
}

interface Props {
  readonly act: Act;
  readonly typed: Secrets;
  readonly problem: Problem | undefined;
  change(part: Partial<Secrets>): void;
}

/** Who signs, and what opens their key and the root. */
export function OpenKeys({ act: { opens, choices, root }, typed, problem, change }: Props) {
  const at = (field: string) => (problem?.field === field ? problem : undefined);
  const working = [...opens, ...choices.filter(({ name }) => name === typed.signer)];
  const [files, tokens] = [namesOf(working, 'file'), namesOf(working, 'token')];
  return (
    <>
      {choices.length > 0 && (
        <label>
          Signed by
          <select
            required
            value={typed.signer}
            onChange={(event) => change({ signer: event.currentTarget.value })}
          >
            <option value="">choose one</option>
            {choices.map(({ name }) => (
              <option key={name} value={name} selected={name === typed.signer}>
                {name}
              </option>
            ))}
          </select>
        </label>
      )}
      <Tell problem={at('signer')} />
      {files && (
        <Field
          label={`Passphrase of ${files}`}
          secret
          required={false}
          value={typed.passphrase}
          problem={at('passphrase')}
          set={(passphrase) => change({ passphrase })}
        />
      )}
      {tokens && (
        <Field
          label={`PIN of the token that holds ${tokens}`}
          secret
          value={typed.pin}
          problem={at('pin')}
          set={(pin) => change({ pin })}
        />
      )}
      {root && (
        <Field
          label={
            root.custody === 'file'
              ? `Passphrase of ${root.name}`
              : `PIN of the token that holds ${root.name}`
          }
          secret
          value={typed.root}
          problem={at(`root.${secretOf(root)}`)}
          set={(secret) => change({ root: secret })}
        />
      )}
    </>
  );
}

const secretOf = ({ custody }: OpenedKey) => (custody === 'file' ? 'passphrase' : 'pin');

/** Names of the keys that are opened in one way; empty where there are none. */
function namesOf(keys: readonly OpenedKey[], custody: OpenedKey['custody']): string {
  return keys
    .filter((each) => each.custody === custody)
    .map(({ name }) => name)
    .join(', ');
}
