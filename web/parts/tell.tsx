import type { ComponentChildren } from 'preact';
import type { Problem } from '../api.ts';

/** What went wrong, and what to do next, where it happened. */
export function Tell({ problem }: { problem: Problem | undefined }) {
  if (!problem) return null;
  return (
    <div class="notice refused" role="alert">
      <p>
        <strong>{sentence(problem.message)}</strong>
      </p>
      {problem.hint && <p>{sentence(problem.hint)}</p>}
    </div>
  );
}

/** Something worth care. */
export function Caution({ children }: { children: ComponentChildren }) {
  return <p class="notice caution">{children}</p>;
}

/** Facts as a list of names and values. */
export function Facts({ facts }: { facts: readonly (readonly [string, ComponentChildren])[] }) {
  return (
    <dl class="facts">
      {facts.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

/** A digest or fingerprint: its beginning, and the whole for whoever points at it or copies it. */
export function Digest({ hex }: { hex: string }) {
  return (
    <code class="digest" title={hex}>
      {hex.slice(0, 16)}
      <span class="rest">{hex.slice(16)}</span>
    </code>
  );
}

/** Bytes, as people say them. */
export function bytes(count: number): string {
  if (count < 1024) return `${count} B`;
  const [unit, size] = count < 2 ** 20 ? ['KiB', 1024] : ['MiB', 2 ** 20];
  return `${(count / size).toLocaleString(undefined, { maximumFractionDigits: 1 })} ${unit}`;
}

/** An address in memory. */
export function address(value: number): string {
  return `0x${value.toString(16).padStart(8, '0')}`;
}

/** A sentence begins with a capital and ends with a full stop. */
export function sentence(text: string): string {
  const begun = text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?:]$/.test(begun) ? begun : `${begun}.`;
}

/** A moment that a record names, to the minute. */
export function moment(time: string): string {
  return `${time.slice(0, 16).replace('T', ' ')} UTC`;
}

/** A number of things, with its thousands apart. */
export function count(n: number): string {
  return n.toLocaleString('en');
}

/** So many of so many, and of a thousand. */
export function share(n: number, of: number): string {
  const permille = of === 0 ? 0 : Math.floor((1000 * n) / of);
  return `${count(n)} of ${count(of)} (${permille} of a thousand)`;
}

const SPANS = [
  ['d', 86_400],
  ['h', 3600],
  ['min', 60],
] as const;

/** How long, in the largest unit that keeps it exact. */
export function lasting(seconds: number): string {
  const [unit, size] = SPANS.find(([, each]) => seconds >= each && seconds % each === 0) ?? ['s', 1];
  return `${seconds / size} ${unit}`;
}

/** A number of things and their name, in the plural where there is not one. */
export function counted(n: number, name: string): string {
  return `${count(n)} ${name}${n === 1 ? '' : 's'}`;
}
