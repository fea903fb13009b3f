/**
 * Evidence: what an auditor asks about a release, out of records that are on the ledger: one document, and one page that shows
 * it. Reads, never changes; opens no key; says plainly what is not shown.
 */
export { type EvidenceRequest, gatherEvidence } from './gather.ts';
export { evidencePage } from './html/page.ts';
export type { Evidence } from './schema.ts';
