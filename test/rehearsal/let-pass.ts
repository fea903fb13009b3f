/**
 * A build of the program for one test: every check of the unit can be made to pass, one at a time. The program itself has no
 * such switch; the sources are rewritten while they are bundled.
 */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { build, type Plugin } from 'esbuild';

/** One place in the sources where a check says no. */
export interface CheckSite {
  /** `file:line`. */
  readonly site: string;
  /** How the source goes from there. */
  readonly says: string;
}

/** What the rewritten sources ask and tell, at `globalThis.letPass`. */
export interface LetPass {
  /** The checks that pass now: `file:line` and the code with which each would say no. */
  passing: readonly string[];
  /** Every check that said no since this was cleared. */
  readonly reached: Set<string>;
}

const RUNTIME = `
const letPass = (globalThis.letPass ??= { passing: [], reached: new Set() });
const said = (site, code) => {
  const check = site + ' ' + code;
  letPass.reached.add(check);
  return letPass.passing.includes(check);
};
const __require = (site, holds, code) => holds || said(site, code());
const __refuse = (site, code, no) => (said(site, code) ? undefined : no());
const __failed = (site, outcome) => (said(site, 'failed') ? { ok: true } : outcome);
const __finding = (site, finding) => (said(site, finding.code) ? undefined : finding);
const __guard = (site, code, wrong) => wrong && !said(site, code);
`;

/** Judges that ask no unit. */
const NOT_THE_UNIT = ['authenticity.ts', 'strangers-content.ts', 'trace.ts'];
const PATH_FILES = ['path.ts', 'link.ts', 'anchor.ts'];

/** Bundles an entry with every check rewritten. Gives the module’s text and all places that were rewritten. */
export async function buildLetPass(entry: string): Promise<{ text: string; sites: CheckSite[] }> {
  const sites: CheckSite[] = [];
  const result = await build({
    entryPoints: [entry],
    bundle: true,
    format: 'esm',
    platform: 'node',
    packages: 'external',
    write: false,
    plugins: [rewriting(sites)],
    logLevel: 'silent',
  });
  return { text: result.outputFiles[0]!.text, sites };
}

function rewriting(sites: CheckSite[]): Plugin {
  return {
    name: 'let pass',
    setup(builder) {
      builder.onLoad({ filter: /src\/(?:unit|x509)\/.*\.ts$/ }, ({ path }) => {
        const text = readFileSync(path, 'utf8');
        const file = basename(path);
        if (NOT_THE_UNIT.includes(file)) return { contents: text, loader: 'ts' };
        const rewritten = path.includes('/x509/') ? inPaths(text, file, sites) : inUnit(text, file, sites);
        return { contents: RUNTIME + rewritten, loader: 'ts' };
      });
    },
  };
}

type Replace = (source: string, at: number, site: string) => Replaced | undefined;

interface Replaced {
  readonly text: string;
  readonly end: number;
}

/** Rewrites one file, kind after kind. Lines stay what they are, so that a site is a line of the file. */
class Rewriting {
  text: string;
  readonly #file: string;
  readonly #sites: CheckSite[];

  constructor(text: string, file: string, sites: CheckSite[]) {
    this.text = text;
    this.#file = file;
    this.#sites = sites;
  }

  /** Replaces each match of a pattern by what `replace` makes of the source from there. */
  each(pattern: RegExp, replace: Replace): this {
    const { text } = this;
    let result = '';
    let done = 0;
    for (const { index } of text.matchAll(pattern)) {
      if (index < done) continue;
      const site = `${this.#file}:${text.slice(0, index).split('\n').length}`;
      const replaced = replace(text, index, site);
      if (!replaced) continue;
      const says = text.slice(index, replaced.end).replace(/\s+/g, ' ');
      this.#sites.push({ site, says });
      result += text.slice(done, index) + replaced.text;
      done = replaced.end;
    }
    this.text = result + text.slice(done);
    return this;
  }
}

/** `if (wrong) return no`: the condition is asked for, so that whatever comes after it goes on. */
const guard =
  (no: RegExp, codeOf: (match: RegExpExecArray) => string): Replace =>
  (source, at, site) => {
    const open = source.indexOf('(', at);
    const end = closing(source, open) + 1;
    const match = no.exec(source.slice(end));
    if (!match) return undefined;
    const wrong = source.slice(open + 1, end - 1);
    return { text: `if (__guard('${site}', '${codeOf(match)}', ${wrong}))`, end };
  };

const call = (source: string, at: number) => {
  const open = source.indexOf('(', at);
  return { parts: argumentsOf(source, open), end: closing(source, open) + 1 };
};

function inUnit(text: string, file: string, sites: CheckSite[]): string {
  return new Rewriting(text, file, sites)
    .each(/\btrace\.require\(/g, (source, at, site) => {
      const { parts, end } = call(source, at);
      const [holds, code, ...rest] = parts;
      const more = rest.map((one) => `,${one}`).join('');
      const asked = `__require('${site}', ${holds}, () => (${code!.trim()}))`;
      return { text: `trace.require(${asked},${code}${more})`, end };
    })
    .each(/\b(?:trace|this\.#trace)\.refuse\(/g, (source, at, site) => {
      const { parts, end } = call(source, at);
      return { text: `__refuse('${site}', ${parts[0]!.trim()}, () => ${source.slice(at, end)})`, end };
    })
    .each(
      /\bif \(/g,
      guard(/^\s*return failed\(/, () => 'failed'),
    )
    .each(/\b\w+ \? failed\(/g, (source, at, site) => {
      const end = source.indexOf(' ', at);
      return { text: `__guard('${site}', 'failed', ${source.slice(at, end)})`, end };
    })
    .each(/: failed\(/g, (source, at, site) => {
      const { end } = call(source, at);
      return { text: `: __failed('${site}', ${source.slice(at + 2, end)})`, end };
    }).text;
}

function inPaths(text: string, file: string, sites: CheckSite[]): string {
  const rewriting = new Rewriting(text, file, sites);
  if (file === 'signer.ts')
    return rewriting.each(
      /\bif \(/g,
      guard(/^\s*return refuse\('([a-z-]+)'/, (match) => match[1]!),
    ).text;
  if (!PATH_FILES.includes(file)) return text;
  return rewriting
    .each(
      /\bif \(/g,
      guard(/^\s*return \{\s*code: '([a-z-]+)'/, (match) => match[1]!),
    )
    .each(/(?<=(?:[?:]|return|,) )\{\s*code: '/g, (source, at, site) => {
      const before = source.slice(0, at);
      if (/if \(__guard\([^\n]*\n?[^\n]*return $/.test(before)) return undefined;
      const end = closing(source, at) + 1;
      return { text: `__finding('${site}', ${source.slice(at, end)})`, end };
    }).text;
}

/** Texts of the arguments of a call whose parenthesis opens at `open`. */
function argumentsOf(source: string, open: number): string[] {
  const found: string[] = [];
  const end = closing(source, open);
  let from = open + 1;
  for (let i = open + 1; i < end; i++) {
    const skipped = skip(source, i);
    if (skipped > i) i = skipped;
    else if (source[i] === ',') {
      found.push(source.slice(from, i));
      from = i + 1;
    }
  }
  const last = source.slice(from, end);
  return last.trim() === '' ? found : [...found, last];
}

/** Where the bracket that opens at `open` closes. */
function closing(source: string, open: number): number {
  for (let i = open + 1; i < source.length; i++) {
    const skipped = skip(source, i);
    if (skipped > i) i = skipped;
    else if (')]}'.includes(source[i]!)) return i;
  }
  throw new Error('a bracket is never closed');
}

/** The end of what begins at `i`: a text, a comment, or something in brackets; `i` where nothing does. */
function skip(source: string, i: number): number {
  const char = source[i]!;
  if ('([{'.includes(char)) return closing(source, i);
  if (source.startsWith('//', i)) return source.indexOf('\n', i) - 1;
  if (`'"\``.includes(char)) return endOfText(source, i);
  return i;
}

function endOfText(source: string, i: number): number {
  const quote = source[i];
  for (let at = i + 1; at < source.length; at++) {
    if (source[at] === '\\') at += 1;
    else if (quote === '`' && source.startsWith('${', at)) at = closing(source, at + 1);
    else if (source[at] === quote) return at;
  }
  throw new Error('a text is never closed');
}
