import type { Standing } from '../shapes.ts';

/** The device class that a page is about. */
export function ChooseClass(props: {
  standing: Standing | undefined;
  chosen: string;
  required?: boolean;
  choose(name: string): void;
}) {
  const { standing, chosen, required = false, choose } = props;
  return (
    <label>
      Device class
      <select value={chosen} required={required} onChange={(event) => choose(event.currentTarget.value)}>
        <option value="">choose one</option>
        {standing?.classes.map(({ name }) => (
          <option key={name} value={name} selected={name === chosen}>
            {name}
          </option>
        ))}
      </select>
    </label>
  );
}
