import { useState } from 'preact/hooks';
import { follow, post } from '../api.ts';
import { useWork } from '../use.ts';
import { Field } from './field.tsx';
import { type MadeHere, NewKey, newKeyRequest, noKey, wrongAtOnce } from './new-key.tsx';
import { NOTHING_TYPED, OpenKeys, secretsRequest } from './open-keys.tsx';
import { Caution, Tell } from './tell.tsx';

/** A key that is opened: by its passphrase, or by the PIN of its token. */
export interface OpenedKey {
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
  /** Signers of which one must be chosen; empty where there is no choice. */
  readonly choices: readonly OpenedKey[];
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

/** What follows is said first, the name of what it is done with is typed, and secrets are asked for this one act. */
export function ActForm({ incident, step, act, changed }: Props) {
  const [confirm, setConfirm] = useState('');
  const [secrets, setSecrets] = useState(NOTHING_TYPED);
  const [key, setKey] = useState(() => act.makes && noKey(act.makes));
  const [progress, setProgress] = useState('');
  const work = useWork();
  const { problem, busy } = work;
  const perform = () =>
    work.run(async () => {
      const wrong = key && wrongAtOnce(key);
      if (wrong) throw wrong;
      const { job } = await post<{ job: string }>(`/incidents/${incident}/steps/${step}/acts`, {
        confirm,
        ...secretsRequest(act, secrets),
        ...(key && { make: newKeyRequest(key) }),
      });
      setSecrets(({ signer }) => ({ ...NOTHING_TYPED, signer }));
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
        <OpenKeys
          act={act}
          typed={secrets}
          problem={problem}
          change={(part) => setSecrets({ ...secrets, ...part })}
        />
        <Field label={`Type ${act.confirm} to confirm`} value={confirm} set={setConfirm} />
      </div>
      <button type="submit" class="cut" disabled={busy || confirm !== act.confirm}>
        {act.says}
      </button>
      <p class="hint" role="status">
        {busy && progress}
      </p>
      {!problem?.field && <Tell problem={problem} />}
    </form>
  );
}
