import { useEffect, useMemo, useState } from 'preact/hooks';
import { bytesOf } from '../api.ts';
import { useNamedFile } from '../named.ts';
import { Cells } from '../parts/cells.tsx';
import { Drop } from '../parts/drop.tsx';
import { Strip } from '../parts/strip.tsx';
import { bytes, Facts, Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { Anatomy, RegionShown } from '../shapes.ts';
import { useDocument } from '../use.ts';

/** Look inside: any file, genuine or not, from the whole down to single bytes. */
export function Inside({ place }: { place: Place }) {
  const named = useNamedFile(place, 'file', ['at']);
  const { file } = named;
  const id = file?.id;
  const anatomy = useDocument<Anatomy>(id && `/files/${id}/anatomy`);
  return (
    <>
      <h1>Look inside</h1>
      <p>
        Drop an envelope, or any other file. Each strip is drawn to scale; open a part and it is drawn below
        at full width, down to single bytes.
      </p>
      <Drop label="The file" {...named} />
      {file && (
        <p>
          <a href={`/api/v1/files/${file.id}`} download>
            Take {file.name}
          </a>
        </p>
      )}
      <Tell problem={anatomy.problem} />
      {id && anatomy.value && (
        <Layers key={id} id={id} anatomy={anatomy.value} at={place.query.get('at') ?? ''} />
      )}
    </>
  );
}

/** The strips from the whole file down to the chosen part. `at`: offsets of the chosen parts, joined by dots. */
function Layers({ id, anatomy, at }: { id: string; anatomy: Anatomy; at: string }) {
  const [data, setData] = useState<Uint8Array>();
  useEffect(() => {
    bytesOf(id).then(setData, () => setData(undefined));
  }, [id]);
  const whole = useMemo<RegionShown>(
    () => ({
      offset: 0,
      length: anatomy.size_bytes,
      path: '',
      title: anatomy.file,
      clause: '',
      children: anatomy.regions,
    }),
    [anatomy],
  );
  const way = wayTo(whole, at);
  const open = (depth: number, part: RegionShown | undefined) => {
    const steps = [...way.slice(1, depth + 1), ...(part ? [part] : [])].map(({ offset }) => offset);
    choose({ at: steps.join('.') });
  };
  const chosen = way.at(-1)!;
  return (
    <>
      <div class="strips">
        {way.map(
          (region, depth) =>
            region.children && (
              <Strip
                key={`${depth}-${region.offset}`}
                begin={region.offset}
                length={region.length}
                parts={region.children}
                label={region.title}
                chosen={way[depth + 1]}
                choose={(part) => open(depth, part)}
                leave={() => open(depth - 1, undefined)}
              />
            ),
        )}
      </div>
      <section class="explained" aria-live="polite" aria-labelledby="part">
        <h2 id="part">{chosen.title}</h2>
        <Facts
          facts={[
            ['where', `${bytes(chosen.length)} at offset ${chosen.offset}`],
            ...(chosen.value === undefined ? [] : [['value', <code>{visible(chosen.value)}</code>] as const]),
            ...(chosen.clause === '' ? [] : [['defined in', chosen.clause] as const]),
            ...(chosen.problem === undefined
              ? []
              : [['not sound', <strong class="faulty">{visible(chosen.problem)}</strong>] as const]),
            ...(chosen.diagnostic === undefined
              ? []
              : [
                  [
                    'in diagnostic notation (RFC 8949 section 8)',
                    <code>{visible(chosen.diagnostic)}</code>,
                  ] as const,
                ]),
          ]}
        />
        {data && !chosen.children && (
          <Cells
            key={chosen.offset}
            data={data.subarray(chosen.offset, chosen.offset + chosen.length)}
            offset={chosen.offset}
          />
        )}
      </section>
      <details class="notation">
        <summary>The whole file in diagnostic notation</summary>
        <pre>
          <code>{visible(anatomy.diagnostic)}</code>
        </pre>
      </details>
    </>
  );
}

function wayTo(whole: RegionShown, at: string): RegionShown[] {
  const way = [whole];
  for (const step of at === '' ? [] : at.split('.')) {
    const next = way.at(-1)!.children?.find(({ offset }) => String(offset) === step);
    if (!next) break;
    way.push(next);
  }
  return way;
}

/** A stranger's text must not hide or turn what is written around it. */
function visible(text: string): string {
  return text.replace(/[\p{Cf}\u2028\u2029]/gu, '?');
}
