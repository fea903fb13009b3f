import type { KeyShown } from '../shapes.ts';

interface Props {
  readonly keys: readonly KeyShown[];
  readonly chosen: readonly string[];
  choose(signers: readonly string[]): void;
}

/** Signers by name, where more than one could seal; none named leaves it to the only one that stands. */
export function ChooseSigners({ keys, chosen, choose }: Props) {
  const signers = keys.filter(
    ({ purpose, certificate }) => purpose === 'signer' && certificate?.purpose === 'release',
  );
  if (signers.length < 2) return null;
  return (
    <fieldset class="ticks">
      <legend>Sealed with</legend>
      {signers.map(({ name }) => (
        <label key={name} class="tick">
          <input
            type="checkbox"
            checked={chosen.includes(name)}
            onChange={({ currentTarget: { checked } }) =>
              choose(checked ? [...chosen, name] : chosen.filter((each) => each !== name))
            }
          />
          {name}
        </label>
      ))}
      <p class="hint">None ticked: the one that stands for the class, if it is the only one.</p>
    </fieldset>
  );
}
