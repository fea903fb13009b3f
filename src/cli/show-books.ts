import type { Books } from '../provision/index.ts';

/** The books of a batch in one line. */
export function booksText({ issued, provisioned, scrapped, open }: Books): string {
  return `issued ${issued} = provisioned ${provisioned} + scrapped ${scrapped} + open ${open}`;
}
