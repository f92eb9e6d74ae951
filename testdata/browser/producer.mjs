// The producer's pages in a real browser: looked at in both languages, and a morning played by clicking and typing.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, logIn, Looker, everyPicture } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8')); // base, password, out, people, pages
const look = new Looker(w.out);
const browser = await launch();
const inAs = (who, options) => logIn(browser, w.base, w.people[who], w.password, options);
const check = (name, ok, what) => { if (!ok) look.say(name, what); };

const says = (...of) => look.says(...of);

// In English the pages that are only here are looked at in every light and width; everything else, and all of it in German,
// once on the narrowest screen and once by axe.
async function everyPage() {
  for (const who of Object.keys(w.people)) {
    const page = await inAs(who);
    for (const lang of ['en', 'de']) {
      await page.setExtraHTTPHeaders({ 'Accept-Language': lang });
      for (const p of w.pages.filter((p) => p.who === who)) {
        const r = await page.goto(w.base + p.path);
        check(p.name, r.status() === (p.name.endsWith('wrong') ? 400 : 200), `status ${r.status()}`);
        const size = (await r.body()).length;
        check(p.name, size < 150 << 10, `${size} bytes`);
        check(p.name, await page.locator('html').getAttribute('lang') === lang, `is not in ${lang}`);
        if (lang === 'en' && p.whole) {
          await look.at(page, p.name);
          continue;
        }
        look.pages++;
        const before = look.problems.length;
        await look.axe(page, `${p.name} ${lang}`);
        await page.setViewportSize({ width: 360, height: 900 });
        await look.fits(page, `${p.name} ${lang} 360`);
        if (everyPicture || look.problems.length > before) await page.screenshot({ path: join(w.out, `${p.name}-${lang}-360.png`), fullPage: true });
        await page.setViewportSize({ width: 1300, height: 900 });
      }
    }
    await page.context().close();
  }
}

// What needs me; the late ones, dearest first, kept under a name; one of them; its order; the project over time.
async function morning() {
  const name = 'morning';
  const page = await inAs('producer');
  await says(page, name, 'h1', 'What needs you today');
  await page.locator('.counts').getByRole('link', { name: /late/ }).click();
  check(name, page.url().endsWith('#late'), 'the count leads to its table');
  await page.getByRole('link', { name: 'Props in one table' }).click();
  await page.getByLabel('only late').check();
  await page.getByRole('button', { name: 'Show' }).click();
  await page.getByRole('columnheader', { name: 'Price' }).getByRole('link').click();
  await page.getByRole('columnheader', { name: 'Price' }).getByRole('link').click();
  check(name, new URL(page.url()).search === '?late=yes&sort=-price', `the view is not in the address: ${page.url()}`);
  await page.getByLabel('Save this view as').fill('Late, dearest first');
  await page.getByRole('button', { name: 'Save', exact: true }).dblclick();
  await page.getByRole('link', { name: 'Late, dearest first' }).waitFor();
  await page.goBack();
  await page.goForward();
  await page.getByLabel('Code or title').fill('zebra');
  await page.keyboard.press('Enter');
  await page.waitForURL(/q=zebra/);
  await says(page, name, '.empty', 'No prop fits.');
  await page.getByRole('link', { name: 'Late, dearest first' }).click();
  const [download] = await Promise.all([page.waitForEvent('download'), page.getByRole('link', { name: 'CSV' }).click()]);
  check(name, download.suggestedFilename() === 'props.csv', download.suggestedFilename());
  await page.getByRole('link', { name: 'Orders' }).click();
  await page.getByRole('link', { name: 'The old breakwater' }).first().click();
  await page.getByText('As a table').click();
  await says(page, name, 'h2', 'Accepted value against plan');
  await page.getByRole('link', { name: 'How it went' }).click();
  await says(page, name, '#figures', 'Brackwater Props');
  await page.context().close();
}

// Keyboard alone: from the skip link into the table, choose, and sort.
async function keyboard() {
  const name = 'keyboard';
  const page = await inAs('producer');
  await page.goto(w.base + '/props');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.keyboard.press('Tab');
  check(name, await page.evaluate(() => document.activeElement.id) === 'q', 'the first stop after the skip link is the text field');
  await page.keyboard.type('block 3');
  await page.keyboard.press('Enter');
  await page.waitForURL(/q=block/);
  await says(page, name, 'tbody', 'Breakwater block 3');
  await page.context().close();
}

for (const part of [everyPage, morning, keyboard]) {
  if (process.env.PAGES_ONLY && part.name !== process.env.PAGES_ONLY) continue;
  await part().catch((e) => look.say(part.name, `broke off: ${e.message.split('\n').slice(0, 6).join(' / ')}`));
}
await browser.close();
console.log(`${look.pages} pages and states, ${look.looks} runs of axe, ${look.problems.length} problems`);
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
