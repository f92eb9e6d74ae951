// What the scripts here share: a browser from this machine, somebody logged in, a look at a page in every light and width.
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

const axeSource = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

// The two lights and the widths: a desk, a tablet, the narrowest phone.
export const schemes = ['light', 'dark'];
export const widths = [1300, 820, 360];

// The rules whose answer light and width can change without anything else changing.
export const lightAndWidth = ['color-contrast', 'target-size'];
export const everyPicture = process.env.PAGES_PICTURES === '1';

function onThisMachine() {
  for (const name of ['chromium', 'chromium-browser', 'google-chrome']) {
    try {
      return execFileSync('which', [name], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).trim();
    } catch { /* the next name */ }
  }
  throw new Error('No Chromium in PATH. Install it: apt-get install chromium');
}

export function launch() {
  // WebGL is drawn by the processor: there is no other here.
  const args = ['--use-angle=swiftshader', '--enable-unsafe-swiftshader', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--force-color-profile=srgb'];
  if (process.getuid?.() === 0) args.push('--no-sandbox'); // Chromium's own demand of root
  return chromium.launch({ executablePath: onThisMachine(), args });
}

// logIn gives a page of somebody's own browser, logged in by typing.
export async function logIn(browser, base, email, password, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1300, height: 900 }, ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(60_000);
  await page.goto(base + '/login');
  await page.getByLabel('E-mail').fill(email);
  await page.getByLabel('Password').fill(password);
  await page.getByRole('button', { name: 'Log in' }).click();
  await page.getByRole('button', { name: 'Log out' }).waitFor();
  return page;
}

// wholePage makes pictures come that wait to be scrolled to.
export async function wholePage(page) {
  await page.evaluate(async () => {
    for (const i of document.images) i.loading = 'eager';
    await Promise.all([...document.images].map((i) => i.decode().catch(() => {})));
  });
}

// Looker looks at pages and remembers what is wrong with them.
export class Looker {
  constructor(out) {
    this.out = out;
    this.problems = [];
    this.pages = 0;
    this.looks = 0;
    mkdirSync(out, { recursive: true });
  }

  say(name, what) { this.problems.push(`${name}: ${what}`); }

  // says waits until what is selected says a text: a click has been answered before all of the page has come. A picture tells what
  // was there instead.
  async says(page, name, selector, text, within = 30_000) {
    let found = '';
    for (const until = Date.now() + within; Date.now() < until; await page.waitForTimeout(50)) {
      found = (await page.locator(selector).allInnerTexts().catch(() => [])).join(' ').replace(/\s+/g, ' ');
      if (found.includes(text)) return;
    }
    await page.screenshot({ path: join(this.out, `unsaid-${this.problems.length}.png`), fullPage: true }).catch(() => {});
    this.say(name, `${selector} says "${found.slice(0, 300)}", not "${text}"`);
  }

  // at looks at the page as it is now, in every light and width: axe, nothing wider than the screen. Every rule runs on the
  // widest in light and on the narrowest in dark; in the two others only what light and width change: contrast and the size
  // of targets. A picture is left where something is wrong, and with PAGES_PICTURES=1 everywhere.
  async at(page, name, { opened = true } = {}) {
    this.pages++;
    await wholePage(page);
    const broken = await page.evaluate(() => [...document.images].filter((i) => !i.naturalWidth).map((i) => i.src));
    for (const src of broken) this.say(name, `picture does not come: ${src}`);
    for (const width of widths) {
      await page.setViewportSize({ width, height: 900 });
      for (const scheme of schemes) {
        await page.emulateMedia({ colorScheme: scheme });
        const where = `${name} ${scheme} ${width}`;
        const before = this.problems.length;
        if (scheme === 'light') await this.fits(page, where);
        if (width === 820) continue; // laid out as one of the others
        await this.axe(page, where, (width === widths[0]) === (scheme === 'light') ? null : lightAndWidth);
        if (everyPicture || this.problems.length > before) await page.screenshot({ path: join(this.out, `${name}-${scheme}-${width}.png`), fullPage: true });
      }
    }
    const folded = await page.evaluate(() => [...document.querySelectorAll('main details:not([open])')].map((d) => (d.open = true)).length);
    if (opened && folded > 0) {
      for (const [width, scheme] of [[1300, 'dark'], [360, 'light']]) {
        await page.setViewportSize({ width, height: 900 });
        await page.emulateMedia({ colorScheme: scheme });
        await this.axe(page, `${name} unfolded ${scheme} ${width}`);
        await this.fits(page, `${name} unfolded ${scheme} ${width}`);
      }
    }
    await page.setViewportSize({ width: 1300, height: 900 });
    await page.emulateMedia({ colorScheme: 'light' });
  }

  // axe: every rule that is on by default, and the size of targets (WCAG 2.2, 2.5.8), which is not.
  async axe(page, where, only = null) {
    this.looks++;
    // The pages' policy lets no script in; the debugger is not bound by it.
    if (!await page.evaluate(() => Boolean(window.axe))) await page.evaluate(axeSource);
    const found = await page.evaluate(async (only) => {
      const which = only ? { runOnly: { type: 'rule', values: only } } : { rules: { 'target-size': { enabled: true } } };
      const r = await window.axe.run(document, { ...which, resultTypes: ['violations'] });
      return r.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120) + ' ' + (n.any[0]?.message ?? '')).join(' | ')}`);
    }, only).catch((e) => [`axe did not run: ${e.message}`]);
    for (const f of found) this.say(where, f);
  }

  async fits(page, where) {
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (wide > 0) this.say(where, `${wide} px wider than the screen`);
  }
}
