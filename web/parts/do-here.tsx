import { useState } from 'preact/hooks';
import { follow, post } from '../api.ts';
import { useWork } from '../use.ts';
import { Caution, Tell } from './tell.tsx';

/** What of a step the desk does itself, where its pages help with it, or why it leaves it to the command line. */
export interface DeskShare {
  readonly act: {
    readonly says: string;
    readonly consequences: readonly string[];
    /** What must be typed first. */
    readonly confirm: string;
    /** Names of the keys that it opens. */
    readonly opens: readonly string[];
  } | null;
  readonly pages: readonly { readonly says: string; readonly page: string }[];
  readonly left_out: string | null;
}

interface Props {
  readonly incident: string;
  readonly step: string;
  readonly share: DeskShare;
  changed(): void;
}

/** A step of a response, done from the desk where the desk may. */
export function DoHere({ incident, step, share: { act, pages, left_out }, changed }: Props) {
  return (
    <>
      {act && <Confirm incident={incident} step={step} act={act} changed={changed} />}
      {pages.length > 0 && (
        <p class="row">
          {pages.map(({ says, page }) => (
            <a key={page} href={page}>
              {says}
            </a>
          ))}
        </p>
      )}
      {left_out && <p class="hint">{left_out}</p>}
    </>
  );
}

/** What follows is said first, and the name of what it is done to is typed. */
function Confirm({
  incident,
  step,
  act,
  changed,
}: Omit<Props, 'share'> & { act: NonNullable<DeskShare['act']> }) {
  const [typed, setTyped] = useState('');
  const [passphrase, setPassphrase] = useState('');
  const work = useWork();
  const perform = () =>
    work.run(async () => {
      const given = passphrase ? { passphrase } : {};
      const { job } = await post<{ job: string }>(`/incidents/${incident}/steps/${step}/acts`, {
        confirm: typed,
        ...given,
      });
      setPassphrase('');
      await follow(job, () => {});
      changed();
    });
  return (
    <form
      class="act"
      onSubmit={(event) => {
        event.preventDefault();
        perform();
      }}
    >
      <Caution>{act.consequences.join(' ')}</Caution>
      <p class="row">
        <label>
          Type {act.confirm} to confirm
          <input value={typed} autocomplete="off" onInput={(event) => setTyped(event.currentTarget.value)} />
        </label>
        {act.opens.length > 0 && (
          <label>
            Passphrase of {act.opens.join(', ')}
            <input
              type="password"
              value={passphrase}
              autocomplete="off"
              onInput={(event) => setPassphrase(event.currentTarget.value)}
            />
          </label>
        )}
        <button type="submit" class="cut" disabled={work.busy || typed !== act.confirm}>
          {act.says}
        </button>
      </p>
      <Tell problem={work.problem} />
    </form>
  );
}
