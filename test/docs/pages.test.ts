import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { writtenPages } from '../../scripts/docs.ts';
import { COMMANDS } from '../../src/cli/commands.ts';
import { FORGERIES } from '../../src/rehearsal/index.ts';

describe('docs', () => {
  it.each([...writtenPages()])('%s says what the tables say (after a change: npm run docs)', (path, text) => {
    expect(readFileSync(path, 'utf8')).toBe(text);
  });

  it('link only to files that exist', () => {
    const pages = [
      'README.md',
      'CONTRIBUTING.md',
      'SECURITY.md',
      'CHANGELOG.md',
      ...readdirSync('docs').map((name) => `docs/${name}`),
    ];
    const broken = pages
      .filter((page) => page.endsWith('.md') && existsSync(page))
      .flatMap((page) => {
        const folder = page.startsWith('docs/') ? 'docs/' : '';
        const links = [...readFileSync(page, 'utf8').matchAll(/\]\((?!https?:|#)([^)#\s]+)/g)].map(
          (match) => match[1]!,
        );
        return links.filter((link) => !existsSync(`${folder}${link}`)).map((link) => `${page}: ${link}`);
      });
    expect(broken).toEqual([]);
  });

  it('name only commands that exist', () => {
    const names = new Set(COMMANDS.map(({ name }) => name));
    const groups = new Set(COMMANDS.map(({ name }) => name.split(' ')[0]!));
    const pages = [
      'README.md',
      'CONTRIBUTING.md',
      'SECURITY.md',
      ...readdirSync('docs').map((name) => `docs/${name}`),
    ];
    const unknown = pages
      .filter((page) => page.endsWith('.md') && existsSync(page))
      .flatMap((page) =>
        [...readFileSync(page, 'utf8').matchAll(/\bfieldseal ([a-z-]+)(?: ([a-z-]+))?/g)]
          .filter(([, first]) => groups.has(first!))
          .filter(([, first, second]) => !names.has(first!) && !names.has(`${first} ${second}`))
          .map(([text]) => `${page}: ${text}`),
      );
    expect(unknown).toEqual([]);
  });

  it('SECURITY.md names only forgeries that a rehearsal makes, each under its threat', () => {
    const rows = [
      ...readFileSync('SECURITY.md', 'utf8').matchAll(
        /^\| THREAT\.([A-Z._]+)(?:, \.([A-Z]+))? \|.*\| (.+) \|$/gm,
      ),
    ];
    expect(rows.length).toBeGreaterThan(14);
    const strange = rows.flatMap(([, threat, second, names]) =>
      names!.split('; ').filter((name) => {
        const row = FORGERIES.find((each) => each.name === name);
        return (
          !row?.threat.startsWith(threat!.split('.')[0]!) || !(row.threat === threat || second !== undefined)
        );
      }),
    );
    expect(strange).toEqual([]);
  });
});
