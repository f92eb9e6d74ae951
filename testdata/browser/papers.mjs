// Prints the papers on A4 and Letter and looks whether they came out whole. Reads {base, email, password, out, papers} from its
// standard input; ends with 1 where something is wrong.
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, logIn, Looker, wholePage } from './browser.mjs';

const { base, email, password, out, papers } = JSON.parse(readFileSync(0, 'utf8'));
mkdirSync(out, { recursive: true });
const look = new Looker(out);
const browser = await launch();
const page = await logIn(browser, base, email, password);

// The widths of paper less the margins below, in CSS pixels, and how many sheets a paper may take.
const margin = '14mm';
const sheets = { A4: { width: 688, most: 8 }, Letter: { width: 710, most: 8 } };

for (const [name, path] of Object.entries(papers)) {
  const r = await page.goto(base + path);
  if (r.status() !== 200) look.say(name, `status ${r.status()}`);
  await look.at(page, name);
  await page.locator('svg.qr').screenshot({ path: join(out, `${name}-qr.png`) });
  await wholePage(page);
  for (const [format, { width, most }] of Object.entries(sheets)) {
    // Laid out as for the sheet: nothing is cut off at its edge, and nothing but the paper is on it.
    await page.setViewportSize({ width, height: 1000 });
    await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
    const wrong = await page.evaluate((width) => {
      const seen = (e) => e.getClientRects().length > 0;
      const bad = [...document.querySelectorAll('main *')].filter((e) => seen(e) && (e.getBoundingClientRect().right > width + 1 || e.getBoundingClientRect().left < -1)).map((e) => `cut off: ${e.outerHTML.slice(0, 80)}`);
      if ([...document.querySelectorAll('.top, .noprint, form')].some(seen)) bad.push('something of the screen is on the paper');
      if (![...document.querySelectorAll('.foot')].some(seen)) bad.push('the caution is missing');
      const [r, g, b] = getComputedStyle(document.body).color.match(/\d+/g).map(Number);
      if (r + g + b > 200) bad.push(`printed in a light colour: ${r} ${g} ${b}`);
      for (const e of document.querySelectorAll('main *')) {
        const [red, green, blue, alpha = 1] = getComputedStyle(e).backgroundColor.match(/[\d.]+/g).map(Number);
        if (seen(e) && alpha > 0.5 && red + green + blue < 450) bad.push(`printed on a dark ground: ${e.outerHTML.slice(0, 80)}`);
      }
      return bad.slice(0, 5);
    }, width);
    for (const w of wrong) look.say(`${name} ${format}`, w);
    const pdf = await page.pdf({ path: join(out, `${name}-${format}.pdf`), format, margin: { top: margin, bottom: margin, left: margin, right: margin } });
    const pages = (pdf.toString('latin1').match(/\/Type\s*\/Page\b/g) ?? []).length;
    console.log(`${name} ${format}: ${pages} pages`);
    if (pages < 1 || pages > most) look.say(`${name} ${format}`, `${pages} pages`);
    await page.emulateMedia({ media: null, colorScheme: 'light' });
  }
  await page.setViewportSize({ width: 1300, height: 900 });
}
await browser.close();
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
