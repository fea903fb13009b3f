import { type FleetUnitShown, STATE_SAYS } from '../fleet-shapes.ts';
import { Mark } from './plot.tsx';
import { moment } from './tell.tsx';

/** Units as a list; each leads to its life. `asked`: what was looked for, which stays. */
export function UnitTable({ units, asked }: { units: readonly FleetUnitShown[]; asked: string }) {
  const lifeOf = ({ class: name, class_id, device }: FleetUnitShown) =>
    `/units?${asked}${asked && '&'}unit=${name ?? class_id}/${device}`;
  return (
    <div class="wide">
      <table class="units">
        <thead>
          <tr>
            <th scope="col">unit</th>
            <th scope="col">class</th>
            <th scope="col">cohort</th>
            <th scope="col">runs</th>
            <th scope="col">state</th>
            <th scope="col">last heard</th>
          </tr>
        </thead>
        <tbody>
          {units.map((unit) => (
            <tr key={`${unit.class_id}/${unit.device}`}>
              <th scope="row">
                <a href={lifeOf(unit)}>{unit.serial ?? unit.device}</a>
              </th>
              <td>{unit.class ?? unit.class_id.slice(0, 8)}</td>
              <td>{unit.cohort ?? ''}</td>
              <td>{unit.version ?? 'not known'}</td>
              <td>
                <Mark state={unit.state} /> {STATE_SAYS[unit.state]}
                {unit.refusal && (
                  <>
                    : {unit.refusal.step}, <code>{unit.refusal.code}</code>
                  </>
                )}
              </td>
              <td>{unit.last_heard ? moment(unit.last_heard) : 'never'}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
