import { useState } from 'preact/hooks';
import { follow, post } from '../api.ts';
import { useNamedFile } from '../named.ts';
import { choose, type Place } from '../router.ts';
import type { Standing } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';
import { ChooseClass } from './choose-class.tsx';
import { ChooseSigners } from './choose-signers.tsx';
import { Drop } from './drop.tsx';
import type { RequestShown } from './request.tsx';
import { SequenceNumber } from './sequence-number.tsx';
import { Caution, Tell } from './tell.tsx';

/** Asking for a release to be sealed: what is to be approved is frozen, and the person who asks signs it. */
export function MakeRequest({ place, made }: { place: Place; made(): void }) {
  const standing = useDocument<Standing>('/standing');
  const className = place.query.get('ask') ?? '';
  const file = useNamedFile(place, 'firmware');
  const second = useNamedFile(place, 'firmware-b');
  const [form, setForm] = useState({
    version: '',
    requester: '',
    description: '',
    security: '0',
    sequence: '',
  });
  const [signers, setSigners] = useState<readonly string[]>([]);
  const [detached, setDetached] = useState(false);
  const [passphrase, setPassphrase] = useState('');
  const work = useWork();
  const people = standing.value?.keys.filter(({ purpose }) => purpose === 'approver') ?? [];
  const set = (name: keyof typeof form) => (event: { currentTarget: { value: string } }) =>
    setForm({ ...form, [name]: event.currentTarget.value });
  const make = () =>
    work.run(async () => {
      const { job } = await post<{ job: string }>('/requests', {
        file: file.file!.id,
        ...(second.file && { file_b: second.file.id }),
        class: className,
        version: form.version,
        requester: form.requester,
        security_version: Number(form.security),
        detached,
        signers,
        ...(form.description && { description: form.description }),
        ...(form.sequence && { sequence: form.sequence }),
        ...(passphrase && { passphrase }),
      });
      setPassphrase('');
      const { request } = await follow<RequestShown>(job, () => {});
      made();
      choose({ ask: undefined, firmware: undefined, 'firmware-b': undefined, request });
    });
  return (
    <details class="choice" open={place.query.get('ask') !== null}>
      <summary>Ask for a release to be sealed</summary>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          make();
        }}
      >
        <div class="two">
          <div>
            <ChooseClass
              standing={standing.value}
              chosen={className}
              required
              choose={(name) => choose({ ask: name })}
            />
            <label>
              Version
              <input required placeholder="1.4.0" value={form.version} onInput={set('version')} />
            </label>
            <label>
              Security version
              <input type="number" min="0" max="4294967295" value={form.security} onInput={set('security')} />
            </label>
            <label>
              Description for people
              <input value={form.description} onInput={set('description')} />
            </label>
            <SequenceNumber value={form.sequence} set={(sequence) => setForm({ ...form, sequence })} />
          </div>
          <div>
            <Drop label="Firmware to be sealed" {...file} />
            <Drop
              label="The same, linked for slot B"
              hint="Only for a class whose slots have images of their own."
              {...second}
            />
          </div>
        </div>
        <p class="row">
          <label>
            Key of the person who asks
            <select required value={form.requester} onChange={set('requester')}>
              <option value="">choose one</option>
              {people.map(({ name }) => (
                <option key={name} value={name} selected={name === form.requester}>
                  {name}
                </option>
              ))}
            </select>
          </label>
          <label>
            Passphrase of that key
            <input
              type="password"
              autocomplete="off"
              value={passphrase}
              onInput={(event) => setPassphrase(event.currentTarget.value)}
            />
          </label>
          <label class="tick">
            <input
              type="checkbox"
              checked={detached}
              onChange={(event) => setDetached(event.currentTarget.checked)}
            />
            leave the image beside the envelope
          </label>
        </p>
        <ChooseSigners keys={standing.value?.keys ?? []} chosen={signers} choose={setSigners} />
        <Caution>
          Image, manifest and choices are fixed, and that key signs them. The next sequence number is taken
          for good, also if the request is taken back. Nothing is sealed until somebody else approves it.
        </Caution>
        <button type="submit" class="main" disabled={work.busy || !file.file}>
          Ask for it
        </button>
      </form>
      {people.length === 0 && standing.value && (
        <p class="hint">
          Nobody has a key of their own yet: <code>fieldseal approver create NAME --person "FULL NAME"</code>.
        </p>
      )}
      <Tell problem={standing.problem ?? work.problem} />
    </details>
  );
}
