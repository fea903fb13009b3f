import type { Evidence } from '../schema.ts';
import { html, Markup } from './markup.ts';
import {
  acceptanceSection,
  approvalSection,
  broadcastSection,
  cautionsSection,
  groundsSection,
  imagesSection,
  ledgerSection,
  rehearsalSection,
  requirementsSection,
  rulesSection,
  sealedSection,
  sealsSection,
} from './sections.ts';
import { STYLE } from './style.ts';

const SECTIONS = [
  sealedSection,
  imagesSection,
  sealsSection,
  approvalSection,
  rehearsalSection,
  acceptanceSection,
  broadcastSection,
  groundsSection,
  ledgerSection,
  requirementsSection,
  rulesSection,
  cautionsSection,
];
// Nothing is fetched, run or sent from the page: it is what it is, from wherever it is opened.
const POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/** The evidence as one page of HTML that needs nothing else: no script, no font, no picture, no request. */
export function evidencePage(evidence: Evidence): string {
  const { release, vendor_domain, as_of, trial } = evidence;
  const title = `Evidence: ${release.class} ${release.version}, number ${release.sequence_number}`;
  const sections = SECTIONS.map((make) => make(evidence));
  const contents = sections.map(({ id, title: text }) => html`<li><a href="#${id}">${text}</a></li>\n`);
  const bodies = sections.map(
    ({ id, title: text, body }) =>
      html`<section aria-labelledby="${id}">\n<h2 id="${id}">${text}</h2>\n${body}\n</section>\n`,
  );
  const banner = trial ? html`<p class="banner">From a trial workspace: not for production.</p>` : '';
  return html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${title}</title>
<style>${new Markup(STYLE)}</style>
</head>
<body>
<main>
<header>
<h1>${release.class} ${release.version}</h1>
<p class="lead">Evidence for release number ${release.sequence_number} of ${vendor_domain}, as of ${as_of}</p>
${banner}
${gist(evidence)}
<nav aria-label="Contents"><ol>
${contents}</ol></nav>
</header>
${bodies}<footer>Made by fieldseal from records on the ledger. The same records give the same page. Format ${evidence.format}.</footer>
</main>
</body>
</html>
`.text;
}

/** What a reader wants to know first. */
function gist(evidence: Evidence): Markup {
  const { seals, approval, rehearsals, requirements, ledger } = evidence;
  const shown = requirements.filter(({ cover }) => cover === 'shown').length;
  const approvers = (approval?.approvals ?? [])
    .filter(({ counts }) => counts)
    .map(({ person, approver }) => person ?? approver);
  const items: [string, string][] = [
    ['Sealed by', seals.map(({ name }) => name).join(', ')],
    ['Approved by', approvers.length === 0 ? 'nobody else' : approvers.join(', ')],
    [
      'Forgeries',
      rehearsals.length === 0 ? 'not rehearsed' : rehearsals.map(({ outcome }) => outcome).join(', '),
    ],
    ['RFC 9124 requirements shown', `${shown} of ${requirements.length}`],
    ['Ledger', ledger.intact ? 'intact' : 'not intact'],
  ];
  const cells = items.map(([name, value]) => html`<div><dt>${name}</dt><dd>${value}</dd></div>\n`);
  return html`<dl class="gist">\n${cells}</dl>`;
}
