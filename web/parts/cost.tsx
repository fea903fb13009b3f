import { bytes } from './tell.tsx';

/** What sending a release would take, as the server tells it. */
export interface CostShown {
  readonly image_bytes: number;
  readonly added_bytes: number;
  readonly units: number;
  readonly links: readonly {
    readonly link: string;
    readonly frames: number;
    readonly air_time_s: number;
    readonly time_to_complete_s: number;
  }[];
}

/** The cost of a release before it is sealed: bytes, and time over each link. */
export function Cost({ cost: { image_bytes, added_bytes, units, links } }: { cost: CostShown }) {
  return (
    <>
      <h3>What sending it takes</h3>
      <p>
        {bytes(image_bytes + added_bytes)}: the image, and {bytes(added_bytes)} of manifest, seals and
        certificates. To {units} {units === 1 ? 'unit' : 'units'} on record:
      </p>
      <div class="wide">
        <table>
          <thead>
            <tr>
              <th scope="col">link</th>
              <th scope="col">frames</th>
              <th scope="col">on air</th>
              <th scope="col">until all have it</th>
            </tr>
          </thead>
          <tbody>
            {links.map(({ link, frames, air_time_s, time_to_complete_s }) => (
              <tr key={link}>
                <th scope="row">{link}</th>
                <td>{frames}</td>
                <td>{duration(air_time_s)}</td>
                <td>{duration(time_to_complete_s)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="hint">
        Figures and their sources: <code>fieldseal figures</code>; name the links of a class in its file.
      </p>
    </>
  );
}

function duration(seconds: number): string {
  const [size, unit] = seconds < 120 ? [1, 's'] : seconds < 7200 ? [60, 'min'] : [3600, 'h'];
  return `${(seconds / size).toLocaleString(undefined, { maximumFractionDigits: 1 })} ${unit}`;
}
