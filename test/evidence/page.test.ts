/** The evidence page: one file, nothing fetched, nothing run, and no name in it that becomes markup. */
import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { gatherEvidence } from '../../src/evidence/gather.ts';
import { escapeText, html } from '../../src/evidence/html/markup.ts';
import { evidencePage } from '../../src/evidence/html/page.ts';
import type { Evidence } from '../../src/evidence/schema.ts';
import { seal } from '../../src/release/index.ts';
import { prepared, request } from '../release/setup.ts';

let evidence: Evidence;

beforeAll(async () => {
  const at = await prepared();
  await seal(request(at));
  evidence = await gatherEvidence({
    workspace: at.workspace,
    release: 'vent/1',
    rehearsals: [],
    acceptance: [],
  });
});

/** Every text of a document replaced. */
function poisoned(value: unknown, text: string): unknown {
  if (typeof value === 'string') return text;
  if (Array.isArray(value)) return value.map((each) => poisoned(each, text));
  if (typeof value !== 'object' || value === null) return value;
  return Object.fromEntries(Object.entries(value).map(([key, each]) => [key, poisoned(each, text)]));
}

/** Fills what this release lacks, so that every section of the page is reached. */
function whole(text: string): Evidence {
  const rehearsal = {
    outcome: 'failed' as const,
    rehearsed: text,
    unit: { class: text, serial: text, swapped: [text] },
    counts: { rows: 1, passed: 1, failed: 1, exposed: 1 },
    on_ledger: false,
    threats: [{ name: text, passed: 1, failed: 1, exposed: 1, outside: text }],
    failures: [{ name: text, because: text }],
    exposures: [{ name: text, because: text }],
    file_sha256: text,
  };
  const acceptance = {
    outcome: 'some are left behind' as const,
    rehearsed: text,
    counts: { units: 9, accepted: 1, not_judged_to_the_end: 1, refused: 1, unread: 1, groups: 1 },
    left_behind: [{ class: text, units: 1, refusal: text, because: text }],
    remedies: [{ says: text, units: 1, changes: [text] }],
    inventory_sha256: text,
    on_ledger: true,
    file_sha256: text,
  };
  const approval = {
    needed: 1,
    counted: 1,
    requested_by: text,
    requested: text,
    request: text,
    request_sha256: text,
    holds: true,
    approvals: [
      { person: text, approver: text, fingerprint: text, approved: text, counts: false, fault: text },
    ],
  };
  const all = poisoned(evidence, text) as Evidence;
  return {
    ...all,
    requirements: all.requirements.map((row) => ({ ...row, cover: 'shown' })),
    rules: all.rules.map((row) => ({ ...row, cover: 'in part' })),
    release: { ...all.release, open: [text], description: text, device_id: text },
    components: [{ name: text, digest: text, size_bytes: 1, file: text }],
    dependencies: [{ name: text, manifest_digest: text, sequence_number: text, root: text, signer: text }],
    rehearsals: [rehearsal],
    acceptance: [acceptance],
    approval,
    plan: { entry: 1, decided_by: text, planned: text, files: [text], conflicts: [text] },
    ledger: { ...all.ledger, findings: [text] },
  };
}

const tagsOf = (page: string) => [...page.matchAll(/<[^>]*>/g)].map(([tag]) => tag);

describe('a hostile name', () => {
  test.each([
    '<script>alert(1)</script>',
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    '</style><style>*{display:none}</style>',
    '</title></head><body>',
    '<!-- ',
    '&lt;b&gt;',
    'javascript:alert(1)',
  ])('%s in every place of the document adds no tag and no attribute', (text) => {
    const page = evidencePage(whole(text));
    const harmless = evidencePage(whole('x'));
    expect(tagsOf(page)).toEqual(tagsOf(harmless));
    if (/[<>"']/.test(text)) expect(page).not.toContain(text);
  });

  test('any text at all adds no tag (property), and cannot turn the line or hide', () => {
    const harmless = tagsOf(evidencePage(whole('x')));
    fc.assert(
      fc.property(fc.string({ unit: 'binary', minLength: 1, maxLength: 40 }), (text) => {
        expect(tagsOf(evidencePage(whole(text)))).toEqual(harmless);
      }),
      { numRuns: 60 },
    );
    expect(escapeText('a\u202eb\u200bc\u0007')).toBe('a\ufffdb\ufffdc\ufffd');
    expect(html`<p title="${'"'}">${['<', html`<b>`]}</p>`.text).toBe('<p title="&quot;">&lt;<b></p>');
  });
});

describe('the page', () => {
  test('fetches and runs nothing: no script, no address, no handler, and a policy that forbids them', () => {
    const page = evidencePage(whole('x'));
    expect(page).toContain(
      `content="default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"`.replaceAll(
        "'",
        '&#39;',
      ),
    );
    for (const tag of tagsOf(page)) {
      expect(tag).not.toMatch(/^<(script|link|img|iframe|object|embed|form|base)\b/i);
      expect(tag).not.toMatch(/\son[a-z]+=|\ssrc=|url\(/i);
      if (tag.startsWith('<a ')) expect(tag).toMatch(/^<a href="#[a-z]+">$/);
    }
    expect(page).not.toMatch(/@import|url\(|https?:\/\//);
  });

  test('can be read aloud and printed: language, one heading of the first rank, captions, header cells, places that links reach', () => {
    const page = evidencePage(whole('x'));
    expect(page).toMatch(/^<!doctype html>\n<html lang="en">/);
    expect(page.match(/<h1>/g)).toHaveLength(1);
    expect(page.match(/<caption>/g)).toHaveLength(page.match(/<table/g)!.length);
    expect(page.match(/<th scope="(col|row)"/g)).toHaveLength(page.match(/<th /g)!.length);
    for (const [, id] of page.matchAll(/href="#([a-z]+)"/g)) expect(page).toContain(`<h2 id="${id}">`);
    expect(page).toContain('@media print');
    expect(page).toContain('From a trial workspace: not for production.');
  });

  test('says plainly what was not done', () => {
    const page = evidencePage(evidence);
    for (const text of [
      'no approval',
      'The ledger knows of no rehearsal',
      'No check against an inventory',
      'not stated',
      'No legal advice',
    ])
      expect(page).toContain(text);
  });
});
