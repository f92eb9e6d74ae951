// Forty props on a Friday, decided on by keys alone: on the contact sheet in two goes, and the first dozen one by one. Tells the time of all of
// it, the server's milliseconds of each decision, and looks at the neighbours in real pixels. Reads what there is from the JSON
// on standard input; prints what is wrong and ends with 1 where anything is.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { launch, logIn, Looker } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8')); // base, password, out, people, deliveries, part
const look = new Looker(w.out);
const browser = await launch();
const page = await logIn(browser, w.base, w.people.director, w.password, { viewport: { width: 1440, height: 900 }, reducedMotion: 'reduce' });
const reason = 'The rope eye is too thin.';
const odd = [3, 8, 14, 21, 30, 37]; // of the forty, from 1: to be returned
const most = 120_000; // two minutes for all of them
const dozen = 12; // as many are decided on one by one

function check(name, ok, what) { if (!ok) look.say(name, what); }
const id = (n) => w.deliveries[`fender-${String(n).padStart(2, '0')}`];
const middle = (list) => [...list].sort((a, b) => a - b)[list.length >> 1];

// The server's part of each answer: from when the request was sent until the first byte came.
const took = { POST: [], GET: [] };
page.on('response', async (r) => {
  const request = r.request();
  if (!new URL(r.url()).pathname.startsWith('/review')) return;
  await r.finished().catch(() => {});
  const { requestStart, responseStart } = request.timing();
  if (responseStart > 0) took[request.method()].push(responseStart - requestStart);
});

// On the sheet: all, less the odd ones; accepted. Then what is left; returned with one note.
async function sheet() {
  const name = 'the sheet';
  await page.goto(w.base + '/review');
  await page.locator('.sheetkeys:not([hidden])').waitFor();
  check(name, await page.locator('.frame').count() >= 40, `${await page.locator('.frame').count()} pictures`);
  const began = Date.now();
  await page.keyboard.press('Shift+X');
  const others = await page.evaluate((ours) => [...document.querySelectorAll('.frame')].map((f, i) => [i, f.id.slice(2)]).filter(([, d]) => !ours.includes(d)).map(([i]) => i), Array.from({ length: 40 }, (_, i) => id(i + 1)));
  const at = await page.evaluate((ids) => [...document.querySelectorAll('.frame')].map((f, i) => [i, f.id.slice(2)]).filter(([, d]) => ids.includes(d)).map(([i]) => i), odd.map(id));
  // Arrow keys to each of the odd ones, and to what is not of the forty; X leaves it out.
  await page.keyboard.press('ArrowRight');
  let here = 0;
  for (const i of [...at, ...others].sort((a, b) => a - b)) {
    for (; here < i; here++) await page.keyboard.press('ArrowRight');
    await page.keyboard.press('x');
  }
  check(name, await page.locator('input[name=pick]:checked').count() === 34, `${await page.locator('input[name=pick]:checked').count()} are picked, not 34`);
  await page.screenshot({ path: join(w.out, 'sheet-picked.png') });
  await page.keyboard.press('a');
  await page.keyboard.press('Control+Enter');
  await page.waitForURL(/#waiting/);
  await page.locator('.pending li').nth(33).waitFor();
  await page.locator('.sheetkeys:not([hidden])').waitFor();
  for (const n of odd) {
    await page.locator(`#d-${id(n)} .look`).focus(); // as arrow keys would
    await page.keyboard.press('x');
  }
  await page.keyboard.press('r');
  await page.keyboard.type(reason);
  await page.keyboard.press('Control+Enter');
  await page.locator('.pending li').nth(39).waitFor();
  const all = Date.now() - began;
  console.log(`the sheet: 40 decided in ${(all / 1000).toFixed(1)} s; the server took ${took.POST.map((v) => Math.round(v)).join(' and ')} ms for the two decisions`);
  check(name, all < most, `${Math.round(all / 1000)} s`);
  await look.at(page, 'sheet-forty', { opened: false });
}

// One by one: A accepts and goes on, R asks for the reason.
async function keys() {
  const name = 'one by one';
  await page.goto(w.base + '/review/' + id(1));
  await neighbours(name);
  took.POST.length = took.GET.length = 0;
  const left = new Set(Array.from({ length: dozen }, (_, i) => id(i + 1)));
  const began = Date.now();
  for (let i = 0; i < 2 * dozen && left.size > 0; i++) {
    const here = await page.locator('#one').getAttribute('data-delivery');
    if (!left.has(here)) { // not one of these: on to the next
      await page.keyboard.press('Space');
    } else if (odd.some((n) => id(n) === here)) {
      await page.keyboard.press('r');
      await page.keyboard.type(reason);
      await page.keyboard.press('Control+Enter');
    } else {
      await page.keyboard.press('a');
    }
    left.delete(here);
    // What was decided is answered with another page, the last one too: before that nothing is kept.
    await page.waitForFunction((was) => { const one = document.getElementById('one'); return one ? one.dataset.delivery !== was : document.getElementById('waiting') !== null; }, here);
  }
  const all = Date.now() - began;
  check(name, left.size === 0, `${left.size} were not come to`);
  check(name, took.POST.length === dozen, `${took.POST.length} decisions were sent`);
  console.log(`one by one: ${dozen} decided in ${(all / 1000).toFixed(1)} s; the server took ${Math.round(middle(took.POST))} ms for a decision and ${Math.round(middle(took.GET))} ms for the next page (medians of ${took.POST.length} and ${took.GET.length}; at most ${Math.round(Math.max(...took.POST))} and ${Math.round(Math.max(...took.GET))})`);
  check(name, all < most * dozen / 40, `${Math.round(all / 1000)} s`);
}

// Two neighbours of the kit stand beside it, all three unscaled and with their feet on one line.
async function neighbours(name) {
  await page.waitForFunction(() => [...document.querySelectorAll('.row3 img')].every((i) => i.complete));
  const row = await page.locator('.row3 img').evaluateAll((all) => all.map((i) => ({ own: i.className, wide: [i.clientWidth, i.naturalWidth], high: [i.clientHeight, i.naturalHeight], foot: Math.round(i.getBoundingClientRect().bottom), alt: i.alt })));
  check(name, row.length === 3 && row[1].own === 'this', `in the row: ${JSON.stringify(row)}`);
  for (const i of row) check(name, i.wide[0] === i.wide[1] && i.high[0] === i.high[1] && i.wide[1] > 0, `scaled: ${JSON.stringify(i)}`);
  check(name, new Set(row.map((i) => i.foot)).size === 1, `feet at ${row.map((i) => i.foot)}`);
  check(name, /neighbour of the kit/.test(row[0].alt) && /neighbour of the kit/.test(row[2].alt), `called ${row.map((i) => i.alt)}`);
  // P shows the row over everything, Escape puts it back.
  await page.keyboard.press('p');
  const box = await page.locator('.real').boundingBox();
  check(name, box.width > 1300 && box.height > 700, `P shows them at ${box.width}×${box.height}`);
  await page.screenshot({ path: join(w.out, 'real-large.png') });
  await page.keyboard.press('Escape');
  check(name, (await page.locator('.real').boundingBox()).height < 400, 'Escape does not put it back');
}

await ({ sheet, keys })[w.part]().catch((e) => look.say(w.part, `broke off: ${e.message.split('\n').slice(0, 6).join(' / ')}`));
await browser.close();
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
