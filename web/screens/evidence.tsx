import { useEffect, useState } from 'preact/hooks';
import { type DeskFile, post } from '../api.ts';
import { useNamedFile } from '../named.ts';
import { Drop } from '../parts/drop.tsx';
import { type Cover, type EvidenceShown, Findings } from '../parts/findings.tsx';
import { Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { ReleaseShown } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';

/** What can I show? The evidence for a release, out of what is on record, and as one page for whoever asks. */
export function EvidenceScreen({ place }: { place: Place }) {
  const { value, problem } = useDocument<{ releases: readonly ReleaseShown[] }>('/releases');
  const release = place.query.get('release') ?? '';
  const envelope = useNamedFile(place, 'envelope');
  const rehearsal = useNamedFile(place, 'rehearsal');
  const acceptance = useNamedFile(place, 'acceptance');
  const asked = {
    release,
    ...(envelope.file && { envelope: envelope.file.id }),
    rehearsals: rehearsal.file ? [rehearsal.file.id] : [],
    acceptance: acceptance.file ? [acceptance.file.id] : [],
  };
  const evidence = useEvidence(release === '' ? undefined : asked);
  return (
    <>
      <h1>What can I show?</h1>
      <p>
        The evidence for a release, out of records on the ledger; what is not shown is said as plainly.
        Nothing is changed, and no key is opened.
      </p>
      <Tell problem={problem} />
      <div class="two">
        <div>
          <label>
            Release
            <select value={release} onChange={(event) => choose({ release: event.currentTarget.value })}>
              <option value="">choose one</option>
              {value?.releases.map((each) => {
                const name = `${each.class}/${each.sequence_number}`;
                return (
                  <option key={name} value={name} selected={name === release}>
                    {each.class} {each.version}, number {each.sequence_number}
                  </option>
                );
              })}
            </select>
          </label>
          {value?.releases.length === 0 && <p>Nothing was sealed yet.</p>}
          <Drop label="Its envelope" hint="To compare it with the record." {...envelope} />
        </div>
        <div>
          <Drop
            label="The result of a rehearsal"
            hint="As the screen Rehearse gives it, or fieldseal rehearse --out."
            {...rehearsal}
          />
          <Drop
            label="Who of an inventory would take it"
            hint="As fieldseal rehearse --units --out writes it."
            {...acceptance}
          />
        </div>
      </div>
      <Tell problem={evidence.problem} />
      {evidence.value && (
        <>
          <TakePage asked={asked} />
          <Findings evidence={evidence.value} cover={(place.query.get('cover') ?? '') as Cover | ''} />
        </>
      )}
    </>
  );
}

function useEvidence(asked: object | undefined) {
  const [value, setValue] = useState<EvidenceShown>();
  const work = useWork();
  const order = asked && JSON.stringify(asked);
  useEffect(() => {
    setValue(undefined);
    work.clear();
    if (order === undefined) return;
    let wanted = true;
    work.run(async () => {
      const told = await post<EvidenceShown>('/evidence', asked);
      if (wanted) setValue(told);
    });
    return () => {
      wanted = false;
    };
  }, [order]);
  return { value, problem: work.problem };
}

/** One page that needs nothing else, for an auditor. */
function TakePage({ asked }: { asked: object }) {
  const [page, setPage] = useState<DeskFile>();
  const work = useWork();
  useEffect(() => setPage(undefined), [JSON.stringify(asked)]);
  return (
    <div class="row">
      <button
        type="button"
        class="main"
        disabled={work.busy}
        onClick={() => work.run(async () => setPage(await post<DeskFile>('/evidence/pages', asked)))}
      >
        Make the page
      </button>
      {page && (
        <p role="status">
          <a href={`/api/v1/files/${page.id}`} download>
            Take {page.name}
          </a>{' '}
          <span class="hint">
            sha-256 <code>{page.sha256}</code>
          </span>
        </p>
      )}
      <Tell problem={work.problem} />
    </div>
  );
}
