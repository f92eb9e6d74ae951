// The vendor's whole story by clicking and typing: what is asked, a question by the keyboard alone, a permit, a change,
// references behind their secrecy, a folder of folders with a connection that breaks, an inspection that is watched, what
// became of each finding, German on a phone. Reads what there is from the JSON on standard input; ends with 1 where anything is wrong.
import { mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { launch, logIn, Looker } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8')); // base, password, out, people, props, order, secret, deliveries, inspect, storage
const look = new Looker(w.out);
const browser = await launch();
const inAs = (who, options) => logIn(browser, w.base, w.people[who], w.password, options);
const go = (page, path) => page.goto(w.base + path);
const prop = (code) => '/props/' + w.props[code];

function check(name, ok, what) { if (!ok) look.say(name, what); }

const says = (...of) => look.says(...of);

// Every page of this story as it is at first, for both sides.
async function pages() {
  for (const [who, list] of Object.entries({
    lead: [['prop', prop('bollard')], ['prop-offered', prop('lantern')], ['prop-empty', prop('ladder')], ['deliver', prop('ladder') + '/deliver'], ['batch', `/orders/${w.order}/deliver`], ['questions', '/questions'], ['references', `/orders/${w.order}/references`], ['capacity', '/capacity']],
    producer: [['prop', prop('bollard')], ['references', `/orders/${w.order}/references`], ['questions', '/questions'], ['capacity', '/capacity']],
  })) {
    const page = await inAs(who);
    for (const [name, path] of list) {
      const r = await go(page, path);
      check(name, r.status() === 200, `status ${r.status()}`);
      const bytes = (await r.body()).length;
      check(name, bytes < 150_000, `${bytes} bytes`);
      await look.at(page, `${who}-${name}`);
    }
    await page.context().close();
  }
}

// tabTo goes on with Tab until the focus is where it should be.
async function tabTo(page, locator) {
  const want = await locator.elementHandle();
  for (let n = 0; n < 200; n++) {
    await page.keyboard.press('Tab');
    if (await page.evaluate((e) => document.activeElement === e, want)) return;
  }
  throw new Error('Tab never comes to it');
}

// A question asked and closed with the keyboard alone; the studio answers; nothing is lost on a refused form.
async function talk() {
  const name = 'talk';
  const page = await inAs('lead');
  await go(page, prop('bollard'));
  await tabTo(page, page.locator('#questions > summary'));
  await page.keyboard.press('Enter');
  await tabTo(page, page.getByLabel('Ask the studio'));
  await page.keyboard.type('Is the rope part of it?');
  await tabTo(page, page.getByLabel('I cannot go on without the answer', { exact: false }));
  await page.keyboard.press('Space');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.waitForURL(/open=questions/);
  await says(page, name, '#questions', 'waits for the studio');
  await says(page, name, '.facts', 'waits now');
  await look.at(page, 'lead-prop-question');
  const studio = await inAs('producer');
  await go(studio, '/questions');
  await look.at(studio, 'producer-questions-one');
  await studio.getByRole('link', { name: 'Question 1' }).click();
  await look.at(studio, 'producer-question');
  await studio.getByLabel('Your answer').fill('A neighbour: it stays away.');
  await studio.getByRole('button', { name: 'Answer' }).click();
  await says(studio, name, 'main', 'It lies with the vendor');
  await go(page, '/questions');
  await page.getByRole('link', { name: 'Question 1' }).click();
  await look.at(page, 'lead-question-answered');
  await page.getByRole('button', { name: 'Close the question' }).click();
  await says(page, name, 'main', 'It is closed.');

  await go(page, prop('bollard'));
  await page.locator('#permits > summary').click();
  await page.getByText('Ask for a permit').first().click();
  await page.getByLabel('Which check').selectOption('budget.triangles');
  await page.getByLabel('The worst value', { exact: false }).fill('a few');
  await page.getByLabel('Why it is right as it is').fill('The coil needs them.');
  await page.getByRole('button', { name: 'Ask for the permit' }).click();
  await page.locator('#permits [role=alert]').waitFor();
  check(name, await page.getByLabel('Why it is right as it is').inputValue() === 'The coil needs them.', 'what was typed is lost');
  await look.at(page, 'lead-permit-refused');
  await page.getByLabel('The worst value', { exact: false }).fill('4000');
  await page.getByRole('button', { name: 'Ask for the permit' }).click();
  await says(page, name, '#permits', 'asked for');

  await page.locator('#changes > summary').click();
  await page.getByText('Offer a change').first().click();
  await page.getByLabel('What changes').fill('A second coil');
  await page.getByLabel('Added to the price', { exact: false }).fill('120');
  await page.locator('#changes').getByLabel('Why').fill('You asked for it on the quay.');
  await page.getByRole('button', { name: 'Offer it' }).click();
  await says(page, name, '#changes', 'waits for the studio');
  await go(studio, prop('bollard'));
  await look.at(studio, 'producer-prop-asked');
  await studio.getByRole('button', { name: 'Agree' }).click();
  await says(studio, name, '#changes', 'agreed');
  await studio.context().close();
  await page.context().close();
}

// A secret pack: published by the studio, the gate, the name on the pictures, acknowledged.
async function references() {
  const name = 'references';
  const blank = await (await browser.newContext()).newPage();
  const png = Buffer.from(await blank.evaluate(() => {
    const c = document.createElement('canvas');
    [c.width, c.height] = [960, 600];
    const g = c.getContext('2d');
    g.fillStyle = '#6a7f86'; g.fillRect(0, 0, 960, 600);
    g.fillStyle = '#3c2f28'; g.fillRect(180, 330, 600, 120);
    return c.toDataURL('image/png').split(',')[1];
  }), 'base64');
  await blank.context().close();
  const studio = await inAs('producer');
  await go(studio, `/orders/${w.secret}/references`);
  await look.at(studio, 'producer-references-secret');
  await studio.getByLabel('What they are about').fill('The look of the boat');
  await studio.locator('#file-1').setInputFiles({ name: 'boat.png', mimeType: 'image/png', buffer: png });
  await studio.getByRole('button', { name: 'Publish' }).click();
  await studio.waitForURL(/\/references\/[0-9a-f-]+$/);
  const path = new URL(studio.url()).pathname;
  await studio.context().close();
  const page = await inAs('lead');
  await go(page, path);
  await look.at(page, 'lead-pack-gate');
  await page.getByRole('button', { name: 'It binds me; show them' }).click();
  await says(page, name, 'main', 'These pictures carry your name.');
  await look.at(page, 'lead-pack');
  await page.getByRole('button', { name: 'Acknowledge pack 1' }).click();
  await page.waitForLoadState();
  check(name, await page.getByRole('button', { name: 'Acknowledge pack 1' }).count() === 0, 'it asks again');
  await page.context().close();
}

// A folder of folders, the connection breaks in the middle; one seal, two deliveries; then one is watched until it is done.
async function batch() {
  const name = 'batch';
  const folder = mkdtempSync(join(tmpdir(), 'friday-'));
  for (const code of ['ladder', 'bollard']) {
    mkdirSync(join(folder, code));
    writeFileSync(join(folder, code, code + '_game.glb'), Buffer.alloc(70_000, code));
    writeFileSync(join(folder, code, code + '_normal.png'), Buffer.alloc(90_000, code + 'n'));
  }
  const page = await inAs('lead');
  await go(page, `/orders/${w.order}/deliver`);
  await page.locator('#deliver:not([hidden])').waitFor();
  await page.locator('#folder').setInputFiles(folder);
  await page.locator('#deliver tbody tr').nth(3).waitFor();
  await look.at(page, 'lead-batch-ready');
  let broken = 0;
  const puts = [];
  await page.route(w.storage + '/**', (route) => {
    if (broken++ < 2) return route.abort('connectionreset');
    puts.push(new URL(route.request().url()).pathname);
    return route.continue();
  });
  await page.getByLabel('What this batch is called').fill('Friday');
  await page.getByRole('button', { name: 'Deliver' }).click();
  await page.waitForURL(new RegExp(`/orders/${w.order}$`));
  check(name, broken >= 2, 'the connection was never broken');
  check(name, new Set(puts).size === puts.length && puts.length >= 4, `sent: ${puts.length} of ${new Set(puts).size}`);
  await go(page, prop('bollard'));
  await says(page, name, '#now', 'The machine inspects it');

  // Watching: the newest delivery of the bollard waits; the machine is let go, and the page shows what it found.
  await page.locator('#deliveries tbody th a').first().click();
  await page.locator('[data-live-text]').waitFor();
  await look.at(page, 'lead-delivery-waits');
  await fetch(w.inspect, { method: 'POST' });
  await page.locator('#compared').waitFor({ timeout: 45_000 });
  await says(page, name, '#compared', 'still there');
  await look.at(page, 'lead-delivery-compared');
  await page.context().close();

  const unknown = mkdtempSync(join(tmpdir(), 'other-'));
  mkdirSync(join(unknown, 'anchor'));
  writeFileSync(join(unknown, 'anchor', 'a.glb'), 'x');
  const again = await inAs('lead');
  await go(again, `/orders/${w.order}/deliver`);
  await again.locator('#deliver:not([hidden])').waitFor();
  await again.locator('#folder').setInputFiles(unknown);
  await again.locator('.state', { hasText: 'anchor' }).waitFor();
  await again.context().close();
}

// A text typed meanwhile is kept: the page that watches offers the result instead of taking the text away.
async function typing() {
  const name = 'typing';
  const page = await inAs('lead');
  await go(page, '/deliveries/' + w.deliveries.crate);
  await page.locator('[data-live-text]').waitFor();
  await page.getByLabel('Write a note').fill('I have just seen a mistake.');
  await fetch(w.inspect, { method: 'POST' });
  await page.locator('[data-live-done]:not([hidden])').waitFor({ timeout: 45_000 });
  check(name, await page.getByLabel('Write a note').inputValue() === 'I have just seen a mistake.', 'the text is gone');
  await page.context().close();
}

// German on the narrowest phone, and without script.
async function german() {
  const name = 'german';
  const context = await browser.newContext({ locale: 'de-DE', viewport: { width: 360, height: 780 }, hasTouch: true });
  const page = await context.newPage();
  await go(page, '/login');
  await page.locator('#email').fill(w.people.lead);
  await page.locator('#password').fill(w.password);
  await page.getByRole('button', { name: 'Anmelden' }).click();
  await page.getByRole('button', { name: 'Abmelden' }).waitFor();
  for (const [what, path] of [['prop', prop('bollard')], ['deliver', prop('winch') + '/deliver'], ['batch', `/orders/${w.order}/deliver`], ['questions', '/questions?show=all'], ['references', `/orders/${w.order}/references`], ['capacity', '/capacity']]) {
    await go(page, path);
    check(name, await page.evaluate(() => document.documentElement.lang) === 'de', `${what} is not in German`);
    await look.at(page, 'de-' + what);
  }
  await go(page, prop('bollard'));
  await says(page, name, '#now', 'Fällig');
  await page.context().close();
  const plain = await browser.newContext({ javaScriptEnabled: false });
  const bare = await plain.newPage();
  await bare.goto(w.base + '/login');
  await bare.locator('#email').fill(w.people.lead);
  await bare.locator('#password').fill(w.password);
  await bare.locator('main button').click();
  await bare.goto(w.base + prop('ladder') + '/deliver');
  await says(bare, 'no script', 'main', 'needs script');
  await bare.goto(w.base + prop('bollard'));
  await bare.locator('#questions > summary').click();
  await bare.getByLabel('Ask the studio').fill('And without script?');
  await bare.getByRole('button', { name: 'Ask', exact: true }).click();
  await says(bare, 'no script', '#questions', 'And without script?');
  await plain.close();
}

const only = process.env.PAGES_ONLY?.split(','); // some parts by their names, while one works on them
for (const part of [pages, talk, references, typing, batch, german]) {
  if (only && !only.includes(part.name)) continue;
  const began = Date.now();
  await part().catch((e) => look.say(part.name, `broke off: ${e.message.split('\n').slice(0, 6).join(' / ')}`));
  console.log(`${part.name}: ${((Date.now() - began) / 1000).toFixed(1)} s`);
}
await browser.close();
console.log(`${look.pages} pages and states, ${look.looks} runs of axe, ${look.problems.length} problems`);
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
