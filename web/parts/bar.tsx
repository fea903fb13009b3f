interface Props {
  /** Of the whole, 0 to 1. */
  readonly share: number;
  readonly kind?: 'long' | 'amiss';
  /** Stands in a line of text. */
  readonly beside?: boolean;
  /** The whole shows behind it. */
  readonly ground?: boolean;
}

const WIDTH = 100;
/** What is little shows all the same. */
const LEAST = 1;

/** A share as a bar, beside its figure. */
export function Bar({ share, kind = 'long', beside = false, ground = false }: Props) {
  const width = share > 0 ? Math.max(LEAST, WIDTH * share) : 0;
  return (
    <svg
      class={`bar${beside ? ' beside' : ''}`}
      viewBox={`0 0 ${WIDTH} 8`}
      preserveAspectRatio="none"
      aria-hidden="true"
    >
      {ground && <rect class="ground" width={WIDTH} height="8" />}
      <rect class={kind} width={width} height="8" />
    </svg>
  );
}
