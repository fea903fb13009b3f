/** Work that two people, an incident or an auditor ask for, done at the desk and found again by the command line. */
import { readFileSync, writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, cortexImage, twoPeople } from './command.ts';
import { chromiumPresent, DeskBrowser, SLOW } from './desk-browser.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
const desk = new DeskBrowser();

describe.skipIf(!chromiumPresent)('work at the desk', () => {
  beforeAll(async () => {
    bench.ok('init WS --vendor-domain hollinridge.example');
    bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
    bench.ok('root create', WS);
    bench.ok('root create --spare', WS);
    bench.ok('signer create line-1 --class vent', WS);
    bench.ok('signer create line-2 --class vent --generation 2', WS);
    bench.ok('signer create trust-1 --class vent --purpose trust', WS);
    bench.ok('signer create trust-2 --class vent --purpose trust --root spare-root', WS);
    const file = bench.path('WS', 'classes', 'vent.yaml');
    writeFileSync(file, readFileSync(file, 'utf8').replace('# approvals: 1', 'approvals: 1'));
    twoPeople(bench, 'WS');
    bench.ok('provision vent --serial 0001 --out vent-0001.unit', WS);
    writeFileSync(bench.path('WS', 'app.bin'), cortexImage(30_000));
    writeFileSync(bench.path('WS', 'next.bin'), cortexImage(40_000, 0xa5));
    await desk.open(bench, 'WS');
  });
  afterAll(() => desk.close());

  const sound = async (picture: string) => {
    expect(await desk.violations()).toEqual([]);
    expect(await desk.overflowOnPhone()).toBe(0);
    expect(desk.complaints).toEqual([]);
    await desk.picture(picture);
  };

  const ask = async (version: string, image: string) => {
    const { page } = desk;
    await page.getByLabel('Version', { exact: true }).fill(version);
    await page.getByLabel('Firmware to be sealed').setInputFiles(bench.path('WS', image));
    await page.getByText(new RegExp(`^${image}, `)).waitFor(SLOW);
    await page.getByLabel('Key of the person who asks').selectOption('ada');
    await page.getByRole('group', { name: 'Sealed with' }).getByLabel('line-2').check();
    await page.getByLabel('Passphrase of that key').fill('four eyes see more');
    await page.getByRole('button', { name: 'Ask for it' }).click();
  };

  it('what is asked for at the desk is what the command line finds: frozen, signed by who asked, its number taken', async () => {
    const { page } = desk;
    await desk.follow('Seal a release');
    await page.getByLabel('Device class').selectOption('vent');
    await page.getByRole('link', { name: 'Ask for it to be sealed' }).click();
    await page.getByRole('heading', { level: 1, name: 'What waits for approval?' }).waitFor(SLOW);
    await expect.poll(() => page.getByLabel('Device class').inputValue(), SLOW).toBe('vent');
    expect(await desk.violations()).toEqual([]);
    await ask('1.4.0', 'app.bin');
    await page.getByRole('heading', { name: 'What vent/1 froze' }).waitFor(SLOW);
    expect(bench.ok('request show vent/1 --json', WS).json).toMatchObject({
      version: '1.4.0',
      requester: 'ada',
      sequence_number: '1',
      state: 'open',
    });
    await sound('desk-request');
  });

  it('a request that was taken back is never sealed, and its number is never given again', async () => {
    const { page } = desk;
    const back = page.getByRole('button', { name: 'Take vent/1 back' });
    expect(await back.isDisabled()).toBe(true);
    await page.getByLabel('Why, for the ledger').fill('wrong build');
    await back.click();
    await page.getByText('This request is withdrawn').waitFor(SLOW);
    const refused = bench.run('approve vent/1 --approver bela --json', WS);
    expect(refused.json.error.code).toBe('request-withdrawn');

    await page.getByText('Ask for a release to be sealed').click();
    await page.getByLabel('Device class').selectOption('vent');
    await ask('1.4.1', 'next.bin');
    await page.getByRole('heading', { name: 'What vent/2 froze' }).waitFor(SLOW);
  });

  it('an approval is taken back; approved again, just what was approved is sealed', async () => {
    const { page } = desk;
    const standing = () => bench.ok('request show vent/2 --json', WS).json;
    bench.ok('approve vent/2 --approver bela', WS);
    await page.reload();
    await page.getByRole('heading', { name: 'Seal what was approved' }).waitFor(SLOW);
    await page.getByLabel('What is taken back').selectOption('bela');
    await page.getByLabel('Why, for the ledger').fill('compared the wrong digest');
    await page.getByRole('button', { name: 'Take the approval by bela back' }).click();
    await page
      .getByRole('heading', { name: 'Seal what was approved' })
      .waitFor({ ...SLOW, state: 'detached' });
    expect(standing()).toMatchObject({ state: 'open', counted: 0 });
    bench.ok('approve vent/2 --approver bela', WS);
    await page.reload();
    await page.getByLabel('Firmware file').setInputFiles(bench.path('WS', 'next.bin'));
    await page.getByText(/^next.bin, /).waitFor(SLOW);
    await page.getByLabel('Passphrase of the sealing key').fill(bench.environment.FIELDSEAL_PASSPHRASE!);
    await page.getByRole('button', { name: 'Seal vent/2' }).click();
    await page.getByRole('heading', { name: 'Sealed: vent 1.4.1' }).waitFor(SLOW);
    expect(standing().state).toBe('used up');
  });

  it('What can I show?: the release with its rehearsal, what is not shown, and the page that the command line makes too', async () => {
    const { page } = desk;
    await page.getByRole('link', { name: 'Rehearse it' }).click();
    await page.getByText(/vent-2.suit, /).waitFor(SLOW);
    await page.getByRole('button', { name: 'Rehearse it' }).click();
    await page.getByRole('heading', { name: /^Passed: / }).waitFor(SLOW);
    const [rehearsal] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('link', { name: 'Take the result as a file' }).click(),
    ]);
    await rehearsal.saveAs(bench.path('WS', 'rehearsal.json'));

    await desk.follow('What can I show?');
    await page.getByRole('combobox', { name: /^Release/ }).selectOption('vent/2');
    await page.getByRole('heading', { name: 'vent 1.4.1, number 2' }).waitFor(SLOW);
    await page.getByLabel('The result of a rehearsal').setInputFiles(bench.path('WS', 'rehearsal.json'));
    await page.getByText('passed, on the ledger').waitFor(SLOW);
    await page.getByLabel('Its envelope').setInputFiles(bench.path('WS', 'envelopes', 'vent-2.suit'));
    await page.getByText(/compared: it is the one on record/).waitFor(SLOW);
    await page.getByLabel('Shown').selectOption('not shown');
    await page.waitForURL(/cover=not/);
    await expect.poll(() => page.locator('.forgeries li:not(.failed)').count(), SLOW).toBe(0);
    await page.getByRole('button', { name: 'Make the page' }).click();
    const take = page.getByRole('link', { name: 'Take evidence-vent-2.html' });
    await take.waitFor(SLOW);
    await sound('desk-evidence');
    const [download] = await Promise.all([page.waitForEvent('download'), take.click()]);
    await download.saveAs(bench.path('WS', 'desk.html'));
    bench.ok(
      'evidence vent/2 --envelope envelopes/vent-2.suit --rehearsal rehearsal.json --out command.html',
      WS,
    );
    expect(readFileSync(bench.path('WS', 'desk.html'), 'utf8')).toBe(
      readFileSync(bench.path('WS', 'command.html'), 'utf8'),
    );
    await page.reload();
    await page.getByText('passed, on the ledger').waitFor(SLOW);
  });

  it('a leaked signer is retired and denied from the desk: confirmed by its name, by the signer that was chosen', async () => {
    const { page } = desk;
    bench.ok('incident open signer-leak --key line-1', WS);
    await desk.follow('Plan and incidents');
    const step = (title: string) => page.locator('.response > li').filter({ hasText: title });
    await page.getByText('Retire the signer in this workspace').click();
    const retire = page.getByRole('button', { name: 'Retire line-1' });
    await retire.waitFor(SLOW);
    expect(await retire.isDisabled()).toBe(true);
    await page.getByText(/units in the field believe it until a trust update denies it/).waitFor(SLOW);
    await step('Retire the signer').getByLabel('Type line-1 to confirm').fill('line-1');
    await retire.click();
    await step('Retire the signer').and(page.locator('.done')).waitFor(SLOW);

    await page.getByText('Make the trust update that denies it').click();
    const make = page.getByRole('button', { name: 'Make the trust update for vent' });
    await make.waitFor(SLOW);
    await step('Make the trust update').getByLabel('Type line-1 to confirm').fill('line-1');
    await page.getByLabel('Signed by').selectOption('trust-1');
    await page.getByLabel('Passphrase of trust-1').fill('not the passphrase');
    await make.click();
    await page.getByRole('alert').waitFor(SLOW);
    await page.getByLabel('Passphrase of trust-1').fill(bench.environment.FIELDSEAL_PASSPHRASE!);
    await sound('desk-incident');
    await make.click();
    await step('Make the trust update').and(page.locator('.done')).waitFor(SLOW);

    await page.getByText('Try the trust update on one unit').click();
    await page.getByRole('link', { name: 'Try vent-trust-1.suit on a unit' }).click();
    await page.getByLabel('A unit file of this workspace').selectOption('vent-0001.unit');
    await page.getByText('0001 of class vent').waitFor(SLOW);
    await page.getByRole('button', { name: 'Ask the unit' }).click();
    await page.getByRole('heading', { name: /would accept/ }).waitFor(SLOW);
    bench.ok('install envelopes/vent-trust-1.suit --unit vent-0001.unit', WS);
    const { incidents } = bench.ok('incident show --json', WS).json;
    const states = Object.fromEntries(
      incidents[0].steps.map(({ id, state }: { id: string; state: string }) => [id, state]),
    );
    expect(states).toMatchObject({ retire: 'done', 'trust-update': 'done' });
    bench.ok('ledger check', WS);
  });

  it('a release takes a number above one that was seen in a forgery; below it nothing is sealed any more', async () => {
    const { page } = desk;
    const numbered = async (number: string) => {
      await desk.follow('Seal a release');
      await page.getByLabel('Device class').selectOption('vent');
      await page.getByRole('link', { name: 'Ask for it to be sealed' }).click();
      await page.getByLabel(/^Sequence number/).fill(number);
      await ask('1.6.0', 'next.bin');
    };
    await numbered('40');
    await page.getByRole('heading', { name: 'What vent/40 froze' }).waitFor(SLOW);
    expect(bench.ok('request show vent/40 --json', WS).json.sequence_number).toBe('40');
    await numbered('39');
    await page.getByRole('alert').waitFor(SLOW);
    expect(await page.getByRole('alert').textContent()).toMatch(/39/);
    expect(bench.run('request show vent/39', WS).status).not.toBe(0);
  });
});
