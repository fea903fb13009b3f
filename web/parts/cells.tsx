import { useState } from 'preact/hooks';

const SHOWN = 256;
const HEX_DIGITS = 2;

/** Single bytes: each as a cell with its hexadecimal digits, and the sign it stands for where it is one. */
export function Cells({ data, offset }: { data: Uint8Array; offset: number }) {
  const [from, setFrom] = useState(0);
  const start = Math.min(from, Math.max(0, data.length - 1));
  const shown = data.subarray(start, start + SHOWN);
  return (
    <div class="cells">
      <ol start={offset + start} aria-label={`bytes ${offset + start} to ${offset + start + shown.length}`}>
        {[...shown].map((byte, i) => (
          <li key={offset + start + i} title={`byte ${offset + start + i}: ${byte}`}>
            <code>{byte.toString(16).padStart(HEX_DIGITS, '0')}</code>
            <span aria-hidden="true">{byte >= 0x21 && byte <= 0x7e ? String.fromCharCode(byte) : '·'}</span>
          </li>
        ))}
      </ol>
      {data.length > SHOWN && (
        <p class="turn">
          <button type="button" disabled={start === 0} onClick={() => setFrom(Math.max(0, start - SHOWN))}>
            earlier bytes
          </button>
          <span>
            {start} to {start + shown.length} of {data.length}
          </span>
          <button
            type="button"
            disabled={start + SHOWN >= data.length}
            onClick={() => setFrom(start + SHOWN)}
          >
            later bytes
          </button>
        </p>
      )}
    </div>
  );
}
