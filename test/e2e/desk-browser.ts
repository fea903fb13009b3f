import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import AxeBuilder from '@axe-core/playwright';
import { type Browser, type BrowserContext, chromium, type Page } from 'playwright-core';
import { type Bench, COMMAND } from './command.ts';
import { documentOf } from './served.ts';

const CHROMIUM = '/usr/bin/chromium';
const QUIET = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];
const PICTURES = fileURLToPath(new URL('../../docs/pictures/', import.meta.url));

const TALLEST_PICTURE = 1500;
/** How long a page may take for anything: far more than it takes, also on a slow machine. */
export const SLOW = { timeout: 240_000 };

export const chromiumPresent = existsSync(CHROMIUM);

/** `fieldseal serve` over a bench's workspace, and a browser in front of it. */
export class DeskBrowser {
  /** What the pages asked of any other host, or complained of. */
  readonly complaints: string[] = [];
  page!: Page;
  #serve!: ChildProcess;
  #browser!: Browser;
  #context!: BrowserContext;

  /** `more`: options of `serve`. */
  async open(bench: Bench, cwd: string, more: readonly string[] = []): Promise<void> {
    this.#serve = spawn(process.execPath, [COMMAND, 'serve', '--json', ...more], {
      cwd: bench.path(cwd),
      env: bench.environment,
      stdio: ['ignore', 'pipe', 'inherit'],
    });
    const { entry, origin } = await documentOf<{ entry: string; origin: string }>(this.#serve);
    this.#browser = await chromium.launch({ executablePath: CHROMIUM, args: QUIET, ...SLOW });
    this.#context = await this.#browser.newContext({ viewport: { width: 1100, height: 800 } });
    this.#context.setDefaultTimeout(SLOW.timeout);
    this.page = await this.#context.newPage();
    this.page.on('pageerror', ({ message }) => this.complaints.push(message));
    this.page.on('request', (request) => {
      if (!request.url().startsWith(origin)) this.complaints.push(`asked for ${request.url()}`);
    });
    this.page.on('console', (message) => {
      if (/Content Security Policy|Refused to/.test(message.text())) this.complaints.push(message.text());
    });
    await this.page.goto(entry);
    await this.page.getByRole('heading', { level: 1, name: 'Where do I stand?' }).waitFor();
  }

  /** Follows one of the questions. */
  async follow(question: string): Promise<void> {
    await this.page.getByRole('navigation').getByRole('link', { name: question }).click();
    await this.page.getByRole('heading', { level: 1, name: question }).waitFor();
  }

  /** Rules of accessibility that the screen breaks, in light and in dark. */
  async violations(): Promise<string[]> {
    const found: string[] = [];
    for (const colorScheme of ['light', 'dark'] as const) {
      await this.page.emulateMedia({ colorScheme });
      const { violations } = await new AxeBuilder({ page: this.page }).analyze();
      found.push(
        ...violations.map(
          ({ id, nodes }) => `${colorScheme}: ${id}: ${nodes.map(({ html }) => html).join(' | ')}`,
        ),
      );
    }
    await this.page.emulateMedia({ colorScheme: 'light' });
    return found;
  }

  /** Pixels that the page is wider than a telephone's 360. */
  async overflowOnPhone(): Promise<number> {
    const before = this.page.viewportSize()!;
    await this.page.setViewportSize({ width: 360, height: 740 });
    const wide = await this.page.evaluate('document.documentElement.scrollWidth - innerWidth');
    await this.page.setViewportSize(before);
    return Math.max(0, Number(wide));
  }

  /** Takes the picture that the README shows. */
  async picture(name: string, tallest = TALLEST_PICTURE): Promise<void> {
    mkdirSync(PICTURES, { recursive: true });
    const whole = Number(await this.page.evaluate('document.documentElement.scrollHeight'));
    const clip = {
      x: 0,
      y: 0,
      width: this.page.viewportSize()!.width,
      height: Math.min(whole, tallest),
    };
    await this.page.screenshot({ path: `${PICTURES}${name}.png`, fullPage: true, clip });
  }

  async close(): Promise<void> {
    await this.#browser?.close();
    this.#serve?.kill('SIGTERM');
  }
}
