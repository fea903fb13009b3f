/** The desk as its users see it: each screen's job done in a browser, by mouse and by keyboard. */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage, twoPeople } from './command.ts';
import { chromiumPresent, DeskBrowser, SLOW } from './desk-browser.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const desk = new DeskBrowser();
const PAGES = fileURLToPath(new URL('../../dist/pages', import.meta.url));

describe.skipIf(!chromiumPresent)('the desk', () => {
  beforeAll(async () => {
    bench.ok('init WS --vendor-domain hollinridge.example');
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('root create', WS);
    bench.ok('signer create line-1', WS);
    bench.ok('provision vent --serial 0001 --out vent-0001.unit', WS);
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(30_000));
    writeFileSync(bench.path('WS', 'next.bin'), cortexImage(40_000, 0xa5));
    bench.ok('seal app.bin --class vent --version 1.4.0 --out app.suit', WS);
    await desk.open(bench, 'WS');
  });
  afterAll(() => desk.close());

  const sound = async (picture: string, tallest?: number) => {
    expect(await desk.violations()).toEqual([]);
    expect(await desk.overflowOnPhone()).toBe(0);
    expect(desk.complaints).toEqual([]);
    await desk.picture(picture, tallest);
  };

  it('Where do I stand? shows classes, keys and what lapses, releases, and the next step', async () => {
    const { page } = desk;
    await page.getByRole('heading', { name: 'Last releases' }).waitFor();
    const told = (await page.getByRole('main').textContent()) ?? '';
    for (const what of ['vent', 'line-1', 'root', '1.4.0', 'The ledger is intact', 'no defined end'])
      expect(told).toContain(what);
    await page.getByText('TRIAL: not for production').waitFor(SLOW);
    await sound('desk-stand');
  });

  it('is small, and nothing moves once it is drawn', async () => {
    const { page } = desk;
    const size = readdirSync(PAGES)
      .filter((name) => name.endsWith('.js'))
      .reduce((sum, name) => sum + gzipSync(readFileSync(`${PAGES}/${name}`)).length, 0);
    expect(size).toBeLessThan(200_000);
    await page.reload();
    await page.getByRole('heading', { name: 'Last releases' }).waitFor();
    // Layout Instability, W3C draft: the sum of shifts that nobody asked for.
    const shift = await page.evaluate(
      `new Promise((resolve) => {
        let sum = 0;
        new PerformanceObserver((list) => {
          for (const entry of list.getEntries()) if (!entry.hadRecentInput) sum += entry.value;
        }).observe({ type: 'layout-shift', buffered: true });
        setTimeout(() => resolve(sum), 300);
      })`,
    );
    expect(Number(shift)).toBeLessThan(0.01);
  });

  it('the secret of the entry link does not stay in the address', () => {
    expect(new URL(desk.page.url()).hash).toBe('');
  });

  it('Who trusts whom?: a key that is picked lights up what its holder reaches, in the picture and in words', async () => {
    const { page } = desk;
    await desk.follow('Who trusts whom?');
    await page.getByRole('button', { name: /^root root/ }).click();
    await expect.poll(() => page.getByText('reached').count(), SLOW).toBe(2);
    const told = (await page.getByRole('main').textContent()) ?? '';
    expect(told).toContain('root certifies signer line-1');
    expect(told).toContain('signer line-1 may sign for class vent');
    await page.getByRole('heading', { name: 'If it leaked' }).waitFor(SLOW);
    await sound('desk-trust');
  });

  it('Challenge: a copy of a unit proves itself; an old answer and a flipped bit are told claim by claim', async () => {
    const { page } = desk;
    const unit = readFileSync(bench.path('WS', 'vent-0001.unit'));
    await desk.follow('Challenge');
    await page.getByLabel('A unit file of this workspace').selectOption('vent-0001.unit');
    await page.getByText('Nothing runs in this unit').waitFor(SLOW);
    const challenge = page.getByRole('button', { name: 'Challenge the unit' });
    expect(await challenge.isDisabled()).toBe(true);
    await page.getByLabel('Sealed envelope').setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByText(/app.suit, /).waitFor(SLOW);
    await page.getByRole('button', { name: 'Install the envelope, start and keep it' }).click();
    await page.getByText('Nothing runs in this unit').waitFor({ ...SLOW, state: 'detached' });

    await page.getByRole('button', { name: 'slot A' }).focus();
    await page.keyboard.press('Enter');
    await page.getByText('It is asked for the whole of slot A.').waitFor();
    await challenge.click();
    await page.getByRole('heading', { name: 'Genuine: what was measured is what was sealed' }).waitFor(SLOW);
    expect(await page.locator('.claims li.passed').count()).toBeGreaterThan(9);
    expect(await page.getByText('Only the region that was asked for was measured.').isVisible()).toBe(true);
    expect(await desk.violations()).toEqual([]);

    await page.getByRole('button', { name: 'Send this old answer again' }).click();
    await page.getByRole('heading', { name: 'Not taken, at freshness' }).waitFor(SLOW);
    expect(await page.getByText('nonce-used').isVisible()).toBe(true);

    await page.getByRole('button', { name: 'Flip one bit there' }).click();
    await page.getByText(/The lowest bit at 0x08000400 is flipped/).waitFor(SLOW);
    await challenge.click();
    await page.getByRole('heading', { name: 'Not taken, at measurement' }).waitFor(SLOW);
    expect(await page.getByText('measurement-differs').isVisible()).toBe(true);
    await sound('desk-challenge', 2400);

    await page.getByLabel('Or from the address').fill('0x08000001');
    await page.getByRole('button', { name: 'Choose that stretch' }).click();
    await challenge.click();
    await page.getByRole('alert').waitFor(SLOW);
    expect(await page.getByRole('alert').textContent()).toContain('no challenge was made');
    expect(readFileSync(bench.path('WS', 'vent-0001.unit')).equals(unit)).toBe(true);
    const { entries } = bench.ok('ledger list --json', WS).json;
    const verdicts = entries.filter(({ kind }: { kind: string }) => kind === 'attested');
    expect(verdicts).toHaveLength(2);
    expect(bench.ok('ledger check', WS).status).toBe(0);
  });

  it('Seal a release: a firmware file in its slot, then sealed, and the passphrase is not kept', async () => {
    const { page } = desk;
    await desk.follow('Seal a release');
    await page.getByLabel('Device class').selectOption('vent');
    await page.getByLabel('Firmware file').setInputFiles(bench.path('WS', 'next.bin'));
    await page.getByRole('img', { name: /the image takes 16 percent/ }).waitFor();
    await page.getByRole('heading', { name: 'What sending it takes' }).waitFor();
    await page.getByLabel('Version').fill('1.5.0');
    await page.getByLabel('Passphrase of the key').fill('not the passphrase');
    await page.getByRole('button', { name: 'Seal' }).click();
    await page.getByRole('alert').waitFor(SLOW);
    expect(await page.getByRole('alert').textContent()).toMatch(/passphrase/i);
    await page.getByLabel('Passphrase of the key').fill(bench.environment.FIELDSEAL_PASSPHRASE!);
    await page.getByLabel(/hold the passphrase/).check();
    await page.getByRole('button', { name: 'Seal' }).click();
    await page.getByRole('heading', { name: 'Sealed: vent 1.5.0' }).waitFor(SLOW);
    expect(await page.getByLabel('Passphrase of the key').inputValue()).toBe('');
    await page.getByText(/passphrase held until/).waitFor(SLOW);
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('link', { name: 'Take the envelope' }).click(),
    ]);
    expect(download.suggestedFilename()).toBe('vent-2.suit');
    await sound('desk-seal');
    await page.getByRole('button', { name: 'forget it' }).click();
    await page.getByText(/passphrase held until/).waitFor({ state: 'detached' });
    const sealed = bench.path('WS', 'envelopes', 'vent-2.suit');
    expect(bench.ok(`check ${sealed} --unit vent-0001.unit --json`, WS).json.verdict).toBe('accepted');
    expect(bench.ok('ledger check', WS).status).toBe(0);
  });

  it('a file that does not fit is refused where it was dropped, with its reason', async () => {
    const { page } = desk;
    writeFileSync(bench.path('WS', 'large.bin'), Buffer.alloc(300_000, 1));
    await page.getByLabel('Firmware file').setInputFiles(bench.path('WS', 'large.bin'));
    await page.getByRole('alert').waitFor(SLOW);
    expect(await page.getByRole('alert').textContent()).toMatch(/slot/i);
  });

  it('Look inside: from the whole file down to single bytes, by keyboard, under an address to pass on', async () => {
    const { page } = desk;
    await desk.follow('Look inside');
    await page.getByLabel('The file').setInputFiles(bench.path('WS', 'app.suit'));
    const whole = page.getByRole('list', { name: 'app.suit' });
    await whole.waitFor(SLOW);
    await whole.getByRole('button', { name: 'manifest', exact: true }).focus();
    await page.keyboard.press('Enter');
    const manifest = page.getByRole('list', { name: 'manifest' });
    await manifest.waitFor();
    await page.keyboard.press('ArrowLeft');
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('Enter');
    await manifest.getByRole('button').first().click();
    const genuine = readFileSync(bench.path('WS', 'app.suit'));
    const at = Number((await page.locator('.cells ol').first().getAttribute('start')) ?? -1);
    const shown = await page.locator('.cells code').first().textContent();
    expect(shown).toBe(genuine[at]!.toString(16).padStart(2, '0'));
    await sound('desk-inside');
    const address = page.url();
    await page.goto(address);
    await page.getByRole('list', { name: 'manifest' }).waitFor(SLOW);
  });

  it("a stranger's file is looked at all the same", async () => {
    const { page } = desk;
    await page.getByLabel('The file').setInputFiles({
      name: 'hostile <b>.bin',
      mimeType: 'application/octet-stream',
      buffer: Buffer.from('d86ba102ff', 'hex'),
    });
    await page.getByRole('list', { name: 'hostile <b>.bin' }).waitFor(SLOW);
    expect(desk.complaints).toEqual([]);
  });

  it('What would a unit say?: accepted step by step; a forgery falls where it must', async () => {
    const { page } = desk;
    await desk.follow('What would a unit say?');
    await page.getByLabel('A unit file of this workspace').selectOption('vent-0001.unit');
    await page.getByText('0001 of class vent').waitFor(SLOW);
    const forged = readFileSync(bench.path('WS', 'app.suit'));
    forged[forged.length - 1]! ^= 1;
    await page
      .getByLabel('Envelope', { exact: true })
      .setInputFiles({ name: 'forged.suit', mimeType: 'application/octet-stream', buffer: forged });
    await page.getByText(/forged.suit, /).waitFor();
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    await page.getByRole('heading', { name: /would refuse, at step 9/ }).waitFor(SLOW);
    expect(await page.getByText('image-digest-wrong').first().isVisible()).toBe(true);
    await sound('desk-refused');
    await page.getByLabel('Envelope', { exact: true }).setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByText(/app.suit, /).waitFor();
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    await page.getByRole('heading', { name: /would accept: new install/ }).waitFor(SLOW);
  });

  it('the power is cut in the middle of an install; the unit starts nothing half-written, and takes it again', async () => {
    const { page } = desk;
    const unit = readFileSync(bench.path('WS', 'vent-0001.unit'));
    // An install is drawn in six seconds. The page's clock stands still in the midst of it, so that no browser is too slow to cut.
    await page.clock.pauseAt(Date.now() + 60_000);
    await page.getByRole('button', { name: 'Install', exact: true }).click();
    await expect
      .poll(async () => {
        await page.clock.runFor(500);
        return page.getByText(/flash operation [1-9]/).count();
      }, SLOW)
      .toBe(1);
    await page.clock.runFor(1500);
    await page.getByRole('button', { name: 'Cut the power now' }).click();
    await page.getByText(/The power went at flash operation/).waitFor(SLOW);
    await page.clock.resume();
    await sound('desk-power-cut');
    await page.getByRole('button', { name: 'Start the unit' }).click();
    await page.getByText('Nothing starts.').waitFor(SLOW);
    await page.getByRole('button', { name: 'Install', exact: true }).click();
    await page.getByText('Installed: the slot is ready.').waitFor(SLOW);
    await page.getByRole('button', { name: 'Start the unit' }).click();
    await page.getByText('It runs version 1.4.0, slot A, on trial.').waitFor(SLOW);
    await page.getByRole('button', { name: 'Self-test passed: keep' }).click();
    await page.getByText('Kept: the floors have risen.').waitFor(SLOW);
    expect(readFileSync(bench.path('WS', 'vent-0001.unit')).equals(unit)).toBe(true);
  });

  it('Rehearse: every forgery is refused at its step, and what does not apply is told as exposure', async () => {
    const { page } = desk;
    await desk.follow('Rehearse');
    await page.getByLabel('Device class').selectOption('vent');
    await page.getByLabel('Payload', { exact: true }).setInputFiles(bench.path('WS', 'app.suit'));
    await page.getByText(/app.suit, /).waitFor();
    await page.getByRole('button', { name: 'Rehearse it' }).click();
    await page.getByRole('heading', { name: /^Passed: [0-9]{2,} forgeries/ }).waitFor(SLOW);
    await page.getByLabel('Containing').fill('exposed');
    await expect.poll(() => page.locator('.forgeries li:not(.exposed)').count(), SLOW).toBe(0);
    expect(await page.locator('.forgeries li.exposed').count()).toBeGreaterThan(0);
    await sound('desk-rehearse');
    await page.getByLabel('Containing').fill('one bit of the signature');
    const row = page.locator('.forgeries li').first();
    await row.locator('summary').first().click();
    await row.getByRole('button', { name: 'Watch it fall' }).click();
    await row.locator('.step.refused').waitFor(SLOW);
    expect(await row.locator('.step.refused summary').textContent()).toContain('authentication');
  });

  it('Plan and incidents: what follows from the choices; a leak is opened, and its steps stand in order', async () => {
    const { page } = desk;
    await desk.follow('Plan and incidents');
    await page.getByLabel('Device class').selectOption('vent');
    await page.getByRole('heading', { name: 'Alternatives' }).waitFor(SLOW);
    await page.getByText('Something has happened').click();
    await page.locator('.choice select').first().selectOption('signer-leak');
    await page.getByLabel('Which key').selectOption('line-1');
    await page.getByRole('button', { name: 'Open an incident' }).click();
    await page.getByRole('heading', { name: /signer-leak: line-1/ }).waitFor(SLOW);
    const steps = page.locator('.response > li');
    await expect.poll(() => steps.count(), SLOW).toBeGreaterThan(4);
    expect(await page.getByText(/fieldseal trust-update make/).count()).toBeGreaterThan(0);
    await steps.locator('input').first().fill('the sealing machine is off the network');
    await steps.getByRole('button', { name: 'Enter it as done' }).first().click();
    await page.locator('.response > li.done').first().waitFor(SLOW);
    await sound('desk-plan');
    expect(bench.ok('incident show --json', WS).json.incidents).toHaveLength(1);
  });

  it('What waits for approval?: another person approves what they compared, and only that is sealed', async () => {
    const { page } = desk;
    bench.ok('class add lamp --model LC-1 --scheme asymmetric', WS);
    const file = bench.path('WS', 'classes', 'lamp.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('# approvals: 1', 'approvals: 1'));
    twoPeople(bench, 'WS');
    bench.ok('request make app.bin --class lamp --version 2.0.0 --requester ada', WS);
    const digest = createHash('sha256')
      .update(readFileSync(bench.path('WS', 'app.bin')))
      .digest('hex');
    await desk.follow('What waits for approval?');
    await page.getByRole('link', { name: 'lamp/1' }).click();
    await page.getByRole('heading', { name: 'What lamp/1 froze' }).waitFor(SLOW);
    expect(await page.getByText(digest).isVisible()).toBe(true);
    expect(await page.getByText('Before it is sealed you can take it back').isVisible()).toBe(true);
    const approve = async (who: string, compared: string) => {
      await page.getByLabel(/^Your key/).selectOption(who);
      await page.getByLabel('SHA-256 of the image').fill(compared);
      await page.getByLabel('Passphrase of your key').fill('four eyes see more');
      await page.getByRole('button', { name: 'Approve lamp/1' }).click();
    };
    await approve('ada', digest);
    await page.getByText(/Ada Brook asked for lamp\/1 and cannot approve it/).waitFor(SLOW);
    await approve('bela', '0'.repeat(64));
    await page.getByText(/The request is for another image/).waitFor(SLOW);
    await approve('bela', digest);
    await page.getByText('Approved with bela: 1 of 1.').waitFor(SLOW);
    expect(await page.getByLabel('Passphrase of your key').inputValue()).toBe('');
    await page.getByRole('button', { name: 'Seal lamp/1' }).waitFor(SLOW);
    await sound('desk-approvals', 2000);

    const seal = async (image: string) => {
      await page.getByLabel('Firmware file').setInputFiles(bench.path('WS', image));
      await page.getByText(new RegExp(`^${image}, `)).waitFor(SLOW);
      await page.getByLabel('Passphrase of the sealing key').fill(bench.environment.FIELDSEAL_PASSPHRASE!);
      await page.getByRole('button', { name: 'Seal lamp/1' }).click();
    };
    await seal('next.bin');
    await page.getByText(/This is not what the sealing request lamp\/1 froze/).waitFor(SLOW);
    await seal('app.bin');
    await page.getByRole('heading', { name: 'Sealed: lamp 2.0.0' }).waitFor(SLOW);
    expect(bench.ok('request list --json', WS).json.requests).toMatchObject([{ state: 'used up' }]);
    bench.ok('ledger check', WS);
  });

  it('without a session the desk says how to enter', async () => {
    const { page } = desk;
    await page.getByRole('button', { name: 'leave' }).click();
    await page.getByText('Open the link that').waitFor(SLOW);
    await sound('desk-enter');
  });
});
