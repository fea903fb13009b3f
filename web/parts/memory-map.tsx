import type { CostShown } from './cost.tsx';
import { address, bytes, Facts } from './tell.tsx';

interface Area {
  readonly name?: string;
  readonly address: number;
  readonly size: number;
}

/** An image in the memory map of a class, as the server tells it. */
export interface ImageShown {
  readonly source_format: string;
  readonly slot: string;
  readonly address: number;
  readonly size_bytes: number;
  readonly gaps: readonly { readonly address: number; readonly length: number }[];
  readonly left_out: readonly {
    readonly address: number;
    readonly length?: number;
    readonly name?: string;
  }[];
  readonly cost: CostShown;
  readonly vector_table: { readonly stackPointer?: number; readonly resetHandler?: number } | null;
  readonly memory: {
    readonly shape: string;
    readonly slots: readonly (Area & { readonly name: string })[];
    readonly recovery?: Area;
    readonly envelopes: Area;
    readonly state: Area;
  };
}

const WIDTH = 600;
const HEIGHT = 26;

/** The flash of a class by address; in the slot, the image to scale, its gaps left open. */
export function MemoryMap({ shown }: { shown: ImageShown }) {
  const { memory, gaps, slot: into } = shown;
  return (
    <>
      <ul class="map">
        {memory.slots.map((slot) => (
          <li key={slot.name}>
            <p>
              <strong>slot {slot.name}</strong> {address(slot.address)}, {bytes(slot.size)}
            </p>
            <svg
              viewBox={`0 0 ${WIDTH} ${HEIGHT}`}
              preserveAspectRatio="none"
              role="img"
              aria-label={labelOf(shown, slot)}
            >
              <rect class="ground" width={WIDTH} height={HEIGHT} />
              {slot.name === into && (
                <>
                  <rect
                    class="image"
                    width={Math.max(2, (WIDTH * shown.size_bytes) / slot.size)}
                    height={HEIGHT}
                  />
                  {gaps.map((gap) => (
                    <rect
                      key={gap.address}
                      class="gap"
                      x={(WIDTH * (gap.address - slot.address)) / slot.size}
                      width={Math.max(1, (WIDTH * gap.length) / slot.size)}
                      height={HEIGHT}
                    />
                  ))}
                </>
              )}
            </svg>
          </li>
        ))}
      </ul>
      <Facts
        facts={[
          ['file', shown.source_format],
          ['image', `${bytes(shown.size_bytes)} of ${bytes(sizeOf(shown))}, from ${address(shown.address)}`],
          [
            'gaps filled',
            gaps.length === 0
              ? 'none'
              : gaps.map((gap) => `${bytes(gap.length)} at ${address(gap.address)}`).join(', '),
          ],
          ...(shown.left_out.length === 0
            ? []
            : [['left out', shown.left_out.map(({ address: at }) => address(at)).join(', ')] as const]),
          ...(shown.vector_table
            ? [
                [
                  'vector table',
                  Object.entries(shown.vector_table)
                    .map(
                      ([name, value]) =>
                        `${words(name)} ${typeof value === 'number' ? address(value) : value}`,
                    )
                    .join(', '),
                ] as const,
              ]
            : []),
        ]}
      />
    </>
  );
}

function sizeOf({ memory, slot }: ImageShown): number {
  return memory.slots.find(({ name }) => name === slot)?.size ?? 0;
}

function labelOf(shown: ImageShown, slot: Area & { name: string }): string {
  if (slot.name !== shown.slot) return `slot ${slot.name}: not written to by this image`;
  return `slot ${slot.name}: the image takes ${Math.ceil((100 * shown.size_bytes) / slot.size)} percent`;
}

function words(name: string): string {
  return name.replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`);
}
