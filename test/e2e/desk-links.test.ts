/** Addresses of the desk: each names what was chosen, so that a reload, a shared link and the way back bring it again. */
import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage } from './command.ts';
import { chromiumPresent, DeskBrowser, SLOW } from './desk-browser.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const desk = new DeskBrowser();

describe.skipIf(!chromiumPresent)('addresses of the desk', () => {
  beforeAll(async () => {
    bench.ok('init WS --vendor-domain hollinridge.example');
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
    bench.ok('root create', WS);
    bench.ok('signer create line-1 --class vent', WS);
    bench.ok('signer create trust-1 --class vent --purpose trust', WS);
    bench.ok('provision vent --serial 0001 --out vent-0001.unit', WS);
    bench.ok('provision vent --serial 0002 --out vent-0002.unit', WS);
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(30_000));
    bench.ok('seal app.bin --class vent --version 1.4.0 --out app.suit', WS);
    await desk.open(bench, 'WS');
  });
  afterAll(() => desk.close());

  it('a question to a unit comes back with its answer: by reload, by the way back, and by a link', async () => {
    const { page } = desk;
    await desk.follow('What would a unit say?');
    await page.getByLabel('A unit file of this workspace').selectOption('vent-0001.unit');
    await page.getByText('0001 of class vent').waitFor(SLOW);
    await page.getByLabel('Envelope', { exact: true }).setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByText(/app.suit, /).waitFor(SLOW);
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    const accepted = page.getByRole('heading', { name: /would accept: new install/ });
    await accepted.waitFor(SLOW);
    const asked = page.url();
    expect(new URL(asked).searchParams.get('unit')).toBe('vent-0001.unit');

    await page.reload();
    await accepted.waitFor(SLOW);
    await page.getByText('0001 of class vent').waitFor(SLOW);
    await page.getByText(/app.suit, /).waitFor(SLOW);

    await page.getByLabel('A unit file of this workspace').selectOption('vent-0002.unit');
    await page.getByText('0002 of class vent').waitFor(SLOW);
    await accepted.waitFor({ ...SLOW, state: 'detached' });
    await page.goBack();
    await page.getByText('0001 of class vent').waitFor(SLOW);
    await accepted.waitFor(SLOW);
    await page.goForward();
    await page.getByText('0002 of class vent').waitFor(SLOW);

    await page.goto(asked);
    await accepted.waitFor(SLOW);
  });

  it('a class is asked without a unit file; one that decides with secret keys is not', async () => {
    const { page } = desk;
    await page.getByLabel('Or any new unit of a class').selectOption('vent');
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    await page.getByRole('heading', { name: /would accept: new install/ }).waitFor(SLOW);
    expect(new URL(page.url()).searchParams.get('class')).toBe('vent');
    await page.reload();
    await page.getByRole('heading', { name: /would accept: new install/ }).waitFor(SLOW);
    await page.getByLabel('Or any new unit of a class').selectOption('dosing');
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    await page.getByText(/units of class dosing decide with secret keys/i).waitFor(SLOW);
    expect(await desk.violations()).toEqual([]);
  });

  it('an address that names a file which is not at the desk says so, and takes it when it is dropped', async () => {
    const { page } = desk;
    bench.ok('seal app.bin --class vent --version 1.5.0 --out next.suit', WS);
    const sha256 = createHash('sha256')
      .update(readFileSync(bench.path('WS', 'next.suit')))
      .digest('hex');
    await page.goto(`${new URL(page.url()).origin}/ask?class=vent&envelope=${sha256}&asked=yes`);
    await page.getByText(/names the envelope of vent 1.5.0 .* not at this desk/).waitFor(SLOW);
    await page.getByLabel('Envelope', { exact: true }).setInputFiles(bench.path('WS', 'next.suit'));
    await page.getByText(/next.suit, /).waitFor(SLOW);
    await page.getByText(/names the envelope of/).waitFor({ ...SLOW, state: 'detached' });
    expect(new URL(page.url()).searchParams.get('envelope')).toBe(sha256);
  });

  it('a region that was chosen for a challenge stands in the address', async () => {
    const { page } = desk;
    await desk.follow('Challenge');
    await page.getByLabel('A unit file of this workspace').selectOption('vent-0001.unit');
    await page.getByRole('button', { name: 'slot A' }).click();
    await page.getByText('It is asked for the whole of slot A.').waitFor(SLOW);
    await page.getByLabel('Or from the address').fill('0x08001000');
    await page.getByRole('button', { name: 'Choose that stretch' }).click();
    await page.getByText(/It is asked for 4096 bytes from 0x08001000/).waitFor(SLOW);
    await page.reload();
    await page.getByText(/It is asked for 4096 bytes from 0x08001000/).waitFor(SLOW);
    await page.goBack();
    await page.getByText('It is asked for the whole of slot A.').waitFor(SLOW);
    expect(new URL(page.url()).searchParams.get('region')).toBe('A');
  });

  it('a picked key stands in the address, and leads to its incident', async () => {
    const { page } = desk;
    await desk.follow('Who trusts whom?');
    await page.getByRole('button', { name: /^line-1 signer/ }).click();
    await page.getByRole('heading', { name: 'If it leaked' }).waitFor(SLOW);
    await page.reload();
    await page.getByRole('button', { name: /^line-1 signer/, pressed: true }).waitFor(SLOW);
    await page.getByRole('link', { name: /open an incident/ }).click();
    await page.getByLabel('Which key').waitFor(SLOW);
    await expect.poll(() => page.getByLabel('Which key').inputValue(), SLOW).toBe('line-1');
    await page.getByRole('button', { name: 'Open an incident' }).click();
    await page.getByRole('heading', { name: /signer-leak: line-1/ }).waitFor(SLOW);
    expect(new URL(page.url()).searchParams.get('incident')).toBe('1');
  });

  it('a step of an incident stands in the address', async () => {
    const { page } = desk;
    const steps = page.locator('.response details');
    await page.getByText('Make a new signer, with a new key in other custody').click();
    await page.waitForURL(/step=new-signer/);
    await page.reload();
    await page.getByLabel('Name of the new signer').waitFor(SLOW);
    await expect.poll(() => steps.and(page.locator('[open]')).count(), SLOW).toBe(1);
    await page.getByText('Ask units to prove what they run').click();
    await page.waitForURL(/step=prove/);
    await page.goBack();
    await page.getByLabel('Name of the new signer').waitFor(SLOW);
  });

  it('a rehearsal and the forgery that was opened in it come back with the address', async () => {
    const { page } = desk;
    const { origin } = new URL(page.url());
    const [row] = await page.evaluate<{ name: string }[]>(
      "fetch('/api/v1/forgeries').then((a) => a.json()).then((t) => t.forgeries.filter(({ name }) => name.includes('signature')))",
    );
    const { name } = row!;
    await page.goto(`${origin}/rehearse?class=vent&forgery=${encodeURIComponent(name)}`);
    await page.getByRole('heading', { name }).waitFor(SLOW);
    expect(await page.getByRole('button', { name: 'Watch it fall' }).isDisabled()).toBe(true);
    await page.getByLabel('Payload', { exact: true }).setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByText(/app.suit, /).waitFor(SLOW);
    await page.getByRole('button', { name: 'Watch it fall' }).click();
    await page.locator('.step.refused').waitFor(SLOW);

    await page.getByRole('button', { name: 'Rehearse it' }).click();
    await page.getByRole('heading', { name: /^Passed: / }).waitFor(SLOW);
    await page.reload();
    await page.getByRole('heading', { name: /^Passed: / }).waitFor(SLOW);
    const open = page.locator('.forgeries details[open] summary strong');
    expect(await open.textContent()).toBe(name);
    await page.getByLabel('Step at which it must fall').selectOption('freshness');
    await page.waitForURL(/step=freshness/);
    await expect.poll(() => page.locator('.forgeries li').count(), SLOW).toBeGreaterThan(0);
    expect(desk.complaints).toEqual([]);
  });

  it('a broadcast that is being made ready comes back; a desk that knows no depot shows the command instead', async () => {
    const { page } = desk;
    const { origin } = new URL(page.url());
    await page.goto(`${origin}/broadcast?begin=new&class=vent`);
    const text = page.getByLabel('Plan of waves');
    await text.waitFor(SLOW);
    expect(await text.inputValue()).toContain('- "0001"');
    await page.getByLabel('Payload', { exact: true }).setInputFiles(bench.path('WS', 'next.suit'));
    await page.getByText(/^It is vent 1\.5\.0, sequence number 2,/).waitFor(SLOW);
    const images = page.getByLabel('Images beside it', { exact: true });
    await images.first().setInputFiles(bench.path('WS', 'app.bin'));
    await page.getByRole('button', { name: 'leave out app.bin' }).click();
    await page.getByRole('button', { name: 'leave out app.bin' }).waitFor({ ...SLOW, state: 'detached' });
    await images.first().setInputFiles(bench.path('WS', 'app.bin'));
    await page.getByRole('button', { name: 'leave out app.bin' }).waitFor(SLOW);
    writeFileSync(bench.path('own.yaml'), `stepping_stones: [1]\n${await text.inputValue()}`);
    await page.getByLabel('A plan that you have already').setInputFiles(bench.path('own.yaml'));
    await expect.poll(() => text.inputValue(), SLOW).toMatch(/^stepping_stones: \[1\]/);
    const judge = page.getByRole('button', { name: 'Judge it against the fleet' });
    await judge.click();
    await page.getByText('The envelope of each that the plan names: 1.').waitFor(SLOW);
    await page.getByText(/its envelope is not given/).waitFor(SLOW);
    await page.getByLabel('Stepping stones').first().setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByRole('button', { name: 'leave out app.suit' }).waitFor(SLOW);
    // Judged again by itself, with the file.
    await page.getByRole('heading', { name: /waves for 2 units of the class$/ }).waitFor(SLOW);

    await page.reload();
    await page.getByRole('button', { name: 'leave out app.bin' }).waitFor(SLOW);
    await page.getByRole('button', { name: 'leave out app.suit' }).waitFor(SLOW);
    await judge.click();
    const command =
      'fieldseal broadcast begin vent next.suit --plan vent-waves.yaml --image app.bin --stepping-stone app.suit --depot DIR';
    await page.getByText(command, { exact: true }).waitFor(SLOW);
    expect(await page.getByRole('button', { name: /^Begin to send/ }).count()).toBe(0);
    expect(await desk.violations()).toEqual([]);
    expect(await desk.overflowOnPhone()).toBe(0);
    await page.getByRole('button', { name: 'Start again from what the fleet suggests' }).click();
    await expect.poll(() => text.inputValue(), SLOW).not.toContain('stepping_stones: [1]\n');
    expect(desk.complaints).toEqual([]);
  });

  it('an envelope in clear is cautioned of where the class hides messages on the way', async () => {
    const { page } = desk;
    const clear = page.getByText(/this envelope goes in clear/);
    expect(await clear.count()).toBe(0);
    const file = bench.path('WS', 'classes', 'vent.yaml');
    writeFileSync(
      file,
      readFileSync(file, 'utf8').replace(/^confidentiality: .*/m, 'confidentiality: message'),
    );
    await page.reload();
    await page.getByRole('button', { name: 'leave out app.bin' }).waitFor(SLOW);
    await page.getByRole('button', { name: 'Judge it against the fleet' }).click();
    await clear.waitFor(SLOW);
  });
});
