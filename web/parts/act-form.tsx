import { useState } from 'preact/hooks';
import { follow, post } from '../api.ts';
import { useWork } from '../use.ts';
import { Field } from './field.tsx';
import { type MadeHere, NewKey, newKeyRequest, noKey, wrongAtOnce } from './new-key.tsx';
import { Caution, Tell } from './tell.tsx';

/** A key that is opened: by its passphrase, or by the PIN of its token. */
interface OpenedKey {
  readonly name: string;
  readonly custody: 'file' | 'token';
}

/** What of a step the desk does itself, as the server tells it. */
export interface Act {
  readonly says: string;
  readonly consequences: readonly string[];
  /** What must be typed first. */
  readonly confirm: string;
  readonly opens: readonly OpenedKey[];
  /** The root that is opened for this act alone. */
  readonly root: OpenedKey | null;
  readonly makes: MadeHere | null;
}

interface Props {
  readonly incident: string;
  readonly step: string;
  readonly act: Act;
  changed(): void;
}

const NOTHING = { passphrase: '', pin: '', root: '' };

/** What follows is said first, the name of what it is done with is typed, and secrets are asked for this one act. */
export function ActForm({ incident, step, act, changed }: Props) {
  const [typed, setTyped] = useState('');
  const [secrets, setSecrets] = useState(NOTHING);
  const [key, setKey] = useState(() => act.makes && noKey(act.makes));
  const [progress, setProgress] = useState('');
  const work = useWork();
  const { problem, busy } = work;
  const at = (field: string) => (problem?.field === field ? problem : undefined);
  const perform = () =>
    work.run(async () => {
      const wrong = key && wrongAtOnce(key);
      if (wrong) throw wrong;
      const { job } = await post<{ job: string }>(`/incidents/${incident}/steps/${step}/acts`, {
        confirm: typed,
        ...(secrets.passphrase && { passphrase: secrets.passphrase }),
        ...(secrets.pin && { pin: secrets.pin }),
        ...(act.root && secrets.root && { root: { [secretOf(act.root)]: secrets.root } }),
        ...(key && { make: newKeyRequest(key) }),
      });
      setSecrets(NOTHING);
      await follow(job, (doing, done, total) => setProgress(`${doing}: ${done} of ${total}`));
      changed();
    });
  return (
    <form
      class="act"
      onSubmit={(event) => {
        event.preventDefault();
        setProgress('');
        perform();
      }}
    >
      {act.consequences.map((each) => (
        <Caution key={each}>{each}</Caution>
      ))}
      <div class="fields">
        {act.makes && key && (
          <NewKey
            makes={act.makes}
            form={key}
            problem={problem}
            change={(part) => setKey({ ...key, ...part })}
          />
        )}
        {opened(act.opens, 'file') && (
          <Field
            label={`Passphrase of ${opened(act.opens, 'file')}`}
            secret
            required={false}
            value={secrets.passphrase}
            problem={at('passphrase')}
            set={(passphrase) => setSecrets({ ...secrets, passphrase })}
          />
        )}
        {opened(act.opens, 'token') && (
          <Field
            label={`PIN of the token that holds ${opened(act.opens, 'token')}`}
            secret
            value={secrets.pin}
            problem={at('pin')}
            set={(pin) => setSecrets({ ...secrets, pin })}
          />
        )}
        {act.root && (
          <Field
            label={
              act.root.custody === 'file'
                ? `Passphrase of ${act.root.name}`
                : `PIN of the token that holds ${act.root.name}`
            }
            secret
            value={secrets.root}
            problem={at(`root.${secretOf(act.root)}`)}
            set={(root) => setSecrets({ ...secrets, root })}
          />
        )}
        <Field label={`Type ${act.confirm} to confirm`} value={typed} set={setTyped} />
      </div>
      <button type="submit" class="cut" disabled={busy || typed !== act.confirm}>
        {act.says}
      </button>
      <p class="hint" role="status">
        {busy && progress}
      </p>
      {!problem?.field && <Tell problem={problem} />}
    </form>
  );
}

const secretOf = ({ custody }: OpenedKey) => (custody === 'file' ? 'passphrase' : 'pin');

/** Names of the keys that are opened in one way; empty where there are none. */
function opened(keys: readonly OpenedKey[], custody: OpenedKey['custody']): string {
  return keys
    .filter((each) => each.custody === custody)
    .map(({ name }) => name)
    .join(', ');
}
