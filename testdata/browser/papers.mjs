// Prints the papers on A4 and Letter, in both languages, and looks whether they came out whole; what is on each sheet is read with
// pdftotext (Debian's poppler-utils). Reads {base, email, password, out, papers} from its standard input; ends with 1 where
// something is wrong.
import { execFileSync } from 'node:child_process';
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

const plain = (text) => text.replace(/\s+/g, ' ').trim();

// sheetsOf prints the page as it is now and reads its sheets: each tells which of how many it is, no heading stands at the foot of
// one without what it is about, and the last holds more than the closing caution.
async function sheetsOf(page, name, lang, format, most) {
  const where = `${name} ${lang} ${format}`;
  const path = join(out, `${name}-${lang}-${format}.pdf`);
  const headings = new Set((await page.locator('main h2, main h3').allInnerTexts()).map(plain));
  const caution = plain(await page.locator('.foot p').first().innerText());
  await page.pdf({ path, format, margin: { top: margin, bottom: margin, left: margin, right: margin } });
  const read = execFileSync('pdftotext', ['-layout', path, '-'], { encoding: 'utf8' }).split('\f').slice(0, -1);
  const count = read.length;
  console.log(`${where}: ${count} sheets`);
  if (count < 1 || count > most) look.say(where, `${count} sheets`);
  read.forEach((text, i) => {
    const lines = text.split('\n').map(plain).filter(Boolean);
    const number = lines.pop();
    if (number !== `${i + 1} / ${count}`) look.say(where, `sheet ${i + 1} ends with "${number}", not its number`);
    if (headings.has(lines.at(-1))) look.say(where, `sheet ${i + 1} ends with the heading "${lines.at(-1)}"`);
    if (caution.startsWith(lines[0])) look.say(where, `nothing but the closing words is on sheet ${i + 1}`);
  });
}

for (const [name, path] of Object.entries(papers)) {
  const r = await page.goto(base + path);
  if (r.status() !== 200) look.say(name, `status ${r.status()}`);
  await look.at(page, name);
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
    await sheetsOf(page, name, 'en', format, most);
    await page.emulateMedia({ media: null, colorScheme: 'light' });
  }
  await page.setViewportSize({ width: 1300, height: 900 });
  await page.context().setExtraHTTPHeaders({ 'Accept-Language': 'de' });
  await page.goto(base + path);
  await wholePage(page);
  for (const [format, { most }] of Object.entries(sheets)) await sheetsOf(page, name, 'de', format, most);
  await page.context().setExtraHTTPHeaders({});
}
await browser.close();
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
