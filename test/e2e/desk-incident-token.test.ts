/** A step that takes a root, at the desk of a production workspace: root and new key in a token (PKCS#11, SoftHSM2), by its PIN. */
import { execFileSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { MISSING, MODULE, PIN, SO_PIN } from '../token/softhsm.ts';
import { Bench } from './command.ts';
import { chromiumPresent, DeskBrowser, SLOW } from './desk-browser.ts';

const TOKEN = 'pkcs11:token=Hollin%20Ridge';
const bench = new Bench();
const PW = { cwd: 'PW' };
const desk = new DeskBrowser();
const skipped = !chromiumPresent || MISSING !== '';

describe.skipIf(skipped)('a leaked signer of a production workspace, at the desk', () => {
  beforeAll(async () => {
    mkdirSync(bench.path('tokens'));
    const configuration = bench.path('softhsm.conf');
    writeFileSync(configuration, `directories.tokendir = ${bench.path('tokens')}\nlog.level = ERROR\n`);
    const { FIELDSEAL_PASSPHRASE: _, ...bare } = bench.environment;
    const desks = { ...bare, SOFTHSM2_CONF: configuration, FIELDSEAL_PKCS11_MODULE: MODULE };
    bench.environment = { ...desks, FIELDSEAL_PIN: PIN };
    const label = ['--label', 'Hollin Ridge', '--so-pin', SO_PIN, '--pin', PIN];
    execFileSync('softhsm2-util', ['--init-token', '--free', ...label], { env: desks, stdio: 'ignore' });
    bench.ok('init PW --vendor-domain hollinridge.example --production');
    bench.ok('class add vent --model VC-2 --scheme asymmetric', PW);
    bench.ok(`root create --token ${TOKEN}`, PW);
    bench.ok(`signer create line-1 --class vent --token ${TOKEN}`, PW);
    bench.ok('incident open signer-leak --key line-1', PW);
    bench.environment = desks;
    await desk.open(bench, 'PW');
  });
  afterAll(() => desk.close());

  it('each PIN is typed for it; a wrong one, and a token that is not there, are told at their fields', async () => {
    const { page } = desk;
    const { origin } = new URL(page.url());
    await page.goto(`${origin}/plan?incident=1&step=new-signer`);
    const form = page.locator('.response details[open] form.act');
    await form.getByLabel('Name of the new signer').fill('line-2');
    expect(await form.getByLabel('Where its key is to live').inputValue()).toBe('token');
    const uri = form.getByLabel('Token in which it is made (pkcs11: URI)');
    const root = form.getByLabel('PIN of the token that holds root');
    await uri.fill('pkcs11:token=Nowhere');
    await form.getByLabel('PIN of that token').fill(PIN);
    await form.getByLabel('Type root to confirm').fill('root');
    const make = form.getByRole('button', { name: 'Make the signer' });
    for (const [pin, field] of [
      ['999999', root],
      [PIN, uri],
    ] as const) {
      await root.fill(pin);
      await make.click();
      await form.getByRole('alert').waitFor(SLOW);
      await expect.poll(() => field.getAttribute('aria-invalid'), SLOW).toBe('true');
      expect(await desk.violations()).toEqual([]);
      expect(await desk.overflowOnPhone()).toBe(0);
    }
    expect(bench.ok('key list --json', PW).json.keys).toHaveLength(2);
    await uri.fill(TOKEN);
    await root.fill(PIN);
    await make.click();
    await page.locator('.response > li.done').filter({ hasText: 'Make a new signer' }).waitFor(SLOW);
    await page.getByText('Make a new signer, with a new key in other custody: done.').waitFor(SLOW);
    const made = bench
      .ok('key list --json', PW)
      .json.keys.find(({ name }: { name: string }) => name === 'line-2');
    expect(made).toMatchObject({ custody: 'token', trial: false });
    expect(desk.complaints).toEqual([]);
    bench.ok('ledger check', PW);
  });
});
