/** A leaked signer, answered from the desk alone: from the first step to the end, and what the command line then says of it. */
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage, PASSPHRASE } from './command.ts';
import { chromiumPresent, DeskBrowser, SLOW } from './desk-browser.ts';

const NEW = 'seven lamps along the glass';
const bench = new Bench();
const WS = { cwd: 'WS' };
const desk = new DeskBrowser();

describe.skipIf(!chromiumPresent)('a leaked signer, from the desk alone', () => {
  beforeAll(async () => {
    bench.ok('init WS --vendor-domain hollinridge.example');
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('root create', WS);
    bench.ok('signer create line-1 --class vent', WS);
    bench.ok('signer create trust-1 --class vent --purpose trust', WS);
    bench.ok('provision vent --serial 0001 --out vent-0001.unit', WS);
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(30_000));
    await desk.open(bench, 'WS');
  });
  afterAll(() => desk.close());

  const step = (title: string) => desk.page.locator('.response > li').filter({ hasText: title });
  const isDone = (title: string) => step(title).and(desk.page.locator('.done')).waitFor(SLOW);
  const open = async (title: string) => {
    const inside = step(title).locator('details');
    if ((await inside.getAttribute('open')) === null) await step(title).locator('summary').first().click();
    return step(title);
  };
  const enter = async (title: string, note: string) => {
    const opened = await open(title);
    await opened.getByLabel('What was done').fill(note);
    await opened.getByRole('button', { name: 'Enter it as done' }).click();
    await isDone(title);
  };
  const sound = async () => {
    expect(await desk.violations()).toEqual([]);
    expect(await desk.overflowOnPhone()).toBe(0);
    expect(desk.complaints).toEqual([]);
  };
  const focused = () => desk.page.evaluate('document.activeElement.labels[0]?.textContent');

  it('it is opened, sending is stopped, and the signer is retired', async () => {
    const { page } = desk;
    await desk.follow('Plan and incidents');
    await page.getByText('Something has happened').click();
    await page.getByRole('combobox', { name: /^What/ }).selectOption('signer-leak');
    await page.getByLabel('Which key').selectOption('line-1');
    await page.getByRole('button', { name: 'Open an incident' }).click();
    await page.getByRole('heading', { name: /signer-leak: line-1/ }).waitFor(SLOW);
    const revoke = await open('revocation list of its root');
    await revoke.getByText('Retire line-1 first').waitFor(SLOW);
    await enter('Stop sending releases', 'nothing was under way');
    const retire = await open('Retire the signer');
    await retire.getByLabel('Type line-1 to confirm').fill('line-1');
    await retire.getByRole('button', { name: 'Retire line-1' }).click();
    await isDone('Retire the signer');
    await enter('Know what the holder can do', 'one class, one unit');
  });

  it('a new signer is certified: what is refused is told at its field, and the root is asked for each time', async () => {
    const { page } = desk;
    const form = await open('Make a new signer');
    const make = form.getByRole('button', { name: 'Make the signer' });
    expect(await make.isDisabled()).toBe(true);
    await form.getByLabel('Name of the new signer').fill('trust-1');
    const [first, again] = [
      form.getByLabel('Passphrase of the new key'),
      form.getByLabel('The same passphrase again'),
    ];
    await first.fill(NEW);
    await again.fill('something else');
    const root = form.getByLabel('Passphrase of root');
    await root.fill(PASSPHRASE);
    await form.getByLabel('Type root to confirm').fill('root');
    for (const field of [first, again, root]) {
      expect([await field.getAttribute('type'), await field.getAttribute('autocomplete')]).toEqual([
        'password',
        'off',
      ]);
    }
    const refusedAt = async (label: string, says: RegExp) => {
      await form.getByRole('alert').filter({ hasText: says }).waitFor(SLOW);
      // It is taken to once it is drawn, which may be a moment later.
      await expect.poll(focused, SLOW).toBe(label);
      expect(await form.getByLabel(label).getAttribute('aria-invalid')).toBe('true');
      await sound();
    };
    await make.click();
    await refusedAt('The same passphrase again', /The two passphrases differ/);
    await again.fill(NEW);
    await make.click();
    await refusedAt('Name of the new signer', /trust-1/);
    await expect.poll(() => root.inputValue(), SLOW).toBe('');
    await form.getByLabel('Name of the new signer').fill('line-2');
    await root.fill('not the passphrase');
    await make.click();
    await refusedAt('Passphrase of root', /passphrase/);
    await desk.picture('desk-root-act', 2200);
    expect(bench.ok('key list --json', WS).json.keys.map(({ name }: { name: string }) => name)).not.toContain(
      'line-2',
    );
    await root.fill(PASSPHRASE);
    await form.getByLabel('Who else is present').fill('Ada Wren, Bela Finch');
    // The rest by the keyboard alone.
    await form.getByLabel('Type root to confirm').focus();
    await page.keyboard.press('Enter');
    await isDone('Make a new signer');
  });

  it('units are told by a trust update, the good release is sealed by the new signer', async () => {
    const { page } = desk;
    const update = await open('Make the trust update');
    await update.getByLabel('Type line-1 to confirm').fill('line-1');
    await update.getByLabel('Passphrase of trust-1').fill(PASSPHRASE);
    await update.getByRole('button', { name: 'Make the trust update for vent' }).click();
    await isDone('Make the trust update');
    await enter('Try the trust update', 'one unit took it; sent by every channel');
    const reseal = await open('Seal the good release again');
    await reseal.getByRole('link', { name: 'Seal for vent here' }).click();
    await page.getByRole('heading', { level: 1, name: 'Seal a release' }).waitFor(SLOW);
    await page.getByLabel('Firmware file').setInputFiles(bench.path('WS', 'app.bin'));
    await page
      .getByText(/^app.bin, /)
      .first()
      .waitFor(SLOW);
    await page.getByLabel('Version', { exact: true }).fill('1.4.1');
    await page.getByLabel('Passphrase of the key').fill(NEW);
    await page.getByRole('button', { name: 'Seal', exact: true }).click();
    await page.getByRole('heading', { name: 'Sealed: vent 1.4.1' }).waitFor(SLOW);
    await desk.follow('Plan and incidents');
    await isDone('Seal the good release again');
    await enter('Rehearse it', 'every forgery was refused');
  });

  it('the revocation list of the root is made, and taken: OpenSSL verifies it (RFC 5280 section 5)', async () => {
    const { page } = desk;
    const form = await open('revocation list of its root');
    await form.getByLabel('Type root to confirm').fill('root');
    await form.getByLabel('Passphrase of root').fill(PASSPHRASE);
    await form.getByRole('button', { name: 'Make the revocation list of root' }).click();
    await isDone('revocation list of its root');
    await open('revocation list of its root');
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      form.getByRole('link', { name: 'Take list 1 of root' }).click(),
    ]);
    expect(download.suggestedFilename()).toBe('root-1.pem');
    const taken = bench.path('WS', 'taken.pem');
    await download.saveAs(taken);
    const anchor = bench.path('WS', 'certificates', 'root.pem');
    execFileSync('openssl', ['crl', '-in', taken, '-CAfile', anchor, '-noout'], { stdio: 'pipe' });
  });

  it('to its end: every step is done, it is closed, and the command line and the ledger say the same', async () => {
    const { page } = desk;
    await enter('Ask units to prove', 'unit 0001 proved 1.4.1');
    await enter('Keep a list of units', 'none is silent');
    await sound();
    await page.getByText('Close it').click();
    await page.getByText('Every step is done.').waitFor(SLOW);
    await page.getByLabel('Why it is closed').fill('answered');
    await page.getByRole('button', { name: 'Close incident 1' }).click();
    await page.getByRole('heading', { name: /signer-leak: line-1 closed/ }).waitFor(SLOW);
    const [incident] = bench.ok('incident show --json', WS).json.incidents;
    expect(incident.closed).not.toBeNull();
    expect(incident.steps.filter(({ state }: { state: string }) => state !== 'done')).toEqual([]);
    bench.ok('ledger check', WS);
    bench.ok('install envelopes/vent-trust-1.suit --unit vent-0001.unit', WS);
    bench.ok('check envelopes/vent-1.suit --unit vent-0001.unit', WS);
  });
});
