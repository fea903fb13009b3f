import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import type { Standing } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';
import type { RequestShown } from './request.tsx';
import { Caution, Tell } from './tell.tsx';

interface Approved {
  readonly approver: string;
  readonly digest_compared: boolean;
  readonly counted: number;
  readonly needed: number;
}

/** Approving another's request with one's own key; what follows from it is said before. */
export function Approve({ shown, approved }: { shown: RequestShown; approved(): void }) {
  const standing = useDocument<Standing>('/standing');
  const [approver, setApprover] = useState('');
  const [digest, setDigest] = useState('');
  const [passphrase, setPassphrase] = useState('');
  const [done, setDone] = useState<Approved>();
  const work = useWork();
  const people = standing.value?.keys.filter(({ purpose }) => purpose === 'approver') ?? [];
  const approve = () =>
    work.run(async () => {
      setDone(
        await post<Approved>(`/requests/${shown.request}/approvals`, {
          approver,
          passphrase,
          ...(digest && { image_digest: digest.trim().toLowerCase() }),
        }),
      );
      setPassphrase('');
      approved();
    });
  return (
    <section aria-labelledby="approve">
      <h2 id="approve">Approve it</h2>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          approve();
        }}
      >
        <label>
          Your key
          <select required value={approver} onChange={(event) => setApprover(event.currentTarget.value)}>
            <option value="">choose one</option>
            {people.map(({ name }) => (
              <option key={name} value={name}>
                {name}
              </option>
            ))}
          </select>
        </label>
        <label>
          SHA-256 of the image, from the build itself
          <input
            class="digits"
            value={digest}
            pattern="\s*[0-9a-fA-F]{16,64}\s*"
            autocomplete="off"
            onInput={(event) => setDigest(event.currentTarget.value)}
          />
        </label>
        <p class="hint">
          At least 16 digits. With another image in the request nothing is signed; without a digest only the
          request's own word stands for the image.
        </p>
        <label>
          Passphrase of your key
          <input
            type="password"
            value={passphrase}
            required
            autocomplete="off"
            onInput={(event) => setPassphrase(event.currentTarget.value)}
          />
        </label>
        <Caution>{consequence(shown)}</Caution>
        <button type="submit" class="main" disabled={work.busy}>
          Approve {shown.request}
        </button>
      </form>
      <Tell problem={standing.problem ?? work.problem} />
      {done && (
        <div role="status">
          <p class="says">
            Approved with {done.approver}: {done.counted} of {done.needed}.
          </p>
          {!done.digest_compared && <Caution>The digest was not compared with the build.</Caution>}
        </div>
      )}
    </section>
  );
}

function consequence({ request, needed, version, device_id, expires, ...shown }: RequestShown) {
  const enough = needed > 0 ? `With ${needed} of ${needed} approvals` : 'With or without approvals';
  const units = device_id === null ? `every unit of ${shown.class}` : 'that unit';
  return [
    `Your key signs ${request}, and the ledger keeps that.`,
    `${enough}, whoever may seal makes version ${version} genuine for ${units}, until ${expires.slice(0, 10)}.`,
    'Before it is sealed you can take it back, below.',
    'After that, only a newer release takes its place.',
  ].join(' ');
}
