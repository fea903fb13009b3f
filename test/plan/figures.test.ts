import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { figureBook, figuresFromText } from '../../src/plan/figures/book.ts';
import { LINKS } from '../../src/plan/figures/links.ts';
import { FIGURE_SOURCES, type FigureBook, figuresYaml } from '../../src/plan/index.ts';
import { WorkspaceError } from '../../src/workspace/index.ts';
import { failure } from '../workspace/setup.ts';

async function bookOf(yaml: string): Promise<FigureBook> {
  return figureBook(await figuresFromText(`format: fieldseal.figures/1\n${yaml}`, 'figures.yaml'));
}

describe('figures', () => {
  test('every figure that is built in says where it comes from', () => {
    const book = figureBook({});
    const all = [book.unit(), book.delta, ...book.links.map((name) => book.link(name).figures)].flatMap(
      (group) => Object.values(group),
    );
    expect(all.length).toBeGreaterThan(100);
    for (const { source, origin } of all) {
      expect(FIGURE_SOURCES).toContain(source);
      expect(source).not.toBe('entered');
      expect(origin.length).toBeGreaterThan(2);
    }
  });

  test('what is entered replaces what is built in, and says so', async () => {
    const book = await bookOf(
      'links:\n  nb-iot: { rate: 9000, loss: { value: 0.02, source: "Hollin Ridge, May" } }\nunit: { hash_rate: 600000 }\nclasses:\n  vent: { hash_rate: 7e6 }\n',
    );
    const { rate, loss, payload } = book.link('nb-iot').figures;
    expect(rate).toEqual({ value: 9000, unit: 'bit/s', source: 'entered', origin: 'figures.yaml' });
    expect(loss).toEqual({ value: 0.02, unit: '', source: 'entered', origin: 'Hollin Ridge, May' });
    expect(payload!.source).toBe('from memory');
    expect(book.unit().hash_rate.value).toBe(600_000);
    expect(book.unit('vent').hash_rate.value).toBe(7_000_000);
    expect(book.unit('dosing').hash_rate.value).toBe(600_000);
  });

  test('a link of one’s own, alone or like another', async () => {
    const book = await bookOf(
      'links:\n  ridge: { like: lorawan-eu-dr3, duty_cycle: 0.01 }\n  wire: { payload: 256, rate: 9600, receive_current: 5, supply: 5, delivery: one-by-one }\n',
    );
    expect(book.links).toEqual([...Object.keys(LINKS), 'ridge', 'wire']);
    expect(book.link('ridge').delivery).toBe('broadcast');
    expect(book.link('ridge').figures.duty_cycle!.value).toBe(0.01);
    expect(book.link('wire').figures.loss!.value).toBe(0);
  });

  test.each([
    ['links:\n  ridge: { like: ridge }\n', 'ridge', 'the link ridge is like itself'],
    ['links:\n  ridge: { like: smoke }\n', 'ridge', 'no link is called smoke'],
    ['links:\n  wire: { rate: 9600 }\n', 'wire', 'lacks payload, receive_current, supply'],
    ['', 'constructor', 'no link is called constructor'],
  ])('%j: the link %s is refused by name', async (yaml, name, says) => {
    const book = await bookOf(yaml);
    expect(() => book.link(name)).toThrow(says);
  });

  test.each([
    ['links:\n  nb-iot: { loss: 1 }\n', 'figures.yaml:3:19: links.nb-iot.loss'],
    ['unit: { hash_rat: 5 }\n', 'did you mean hash_rate?'],
    ['unit: { hash_rate: fast }\n', 'found the text fast'],
    ['links:\n  nb-iot: { delivery: pigeon }\n', 'one of broadcast, one-by-one, side-by-side'],
  ])('%j is told with its place and what was expected', async (yaml, says) => {
    const error = await failure(() => bookOf(yaml));
    expect(error).toBeInstanceOf(WorkspaceError);
    expect((error as WorkspaceError).message).toContain(says);
  });

  test('the file to begin from is a sound figures file that changes nothing, and stays one line by line', async () => {
    const text = figuresYaml(figureBook({}), ['nb-iot', 'lorawan-eu-dr0']);
    expect(figureBook(await figuresFromText(text, 'f')).unit()).toEqual(figureBook({}).unit());
    const opened = text.replace(/^# (?=unit:|delta:|links:| {2})/gm, '');
    const file = await figuresFromText(opened, 'f');
    expect(file.links!['nb-iot']!.rate).toBe(20_000);
    expect(Object.keys(parse(opened).unit)).toEqual(Object.keys(figureBook({}).unit()));
  });
});
