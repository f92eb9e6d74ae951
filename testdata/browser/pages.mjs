// Looks at every page and state in a real browser, and plays three people's stories by clicking and typing.
// Reads what there is from the JSON on standard input; writes pictures to the folder it names; prints what is wrong and
// ends with 1 where anything is.
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { launch, logIn, Looker, lightAndWidth } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8')); // base, password, out, people, pages, deliveries, props, specs, invitation
const look = new Looker(w.out);
const browser = await launch();
const inAs = (who, options) => logIn(browser, w.base, w.people[who], w.password, options);
const go = (page, path) => page.goto(w.base + path);
const delivery = (name) => '/deliveries/' + w.deliveries[name];

function check(name, ok, what) { if (!ok) look.say(name, what); }

const says = (...of) => look.says(...of);

// What looks must be able to see: a picture without a name, faint small text and a box too wide are found.
async function theLookItself() {
  const page = await (await browser.newContext()).newPage();
  await go(page, '/login');
  await page.evaluate(() => {
    const bad = document.createElement('div');
    bad.innerHTML = '<img src="/static/mark.svg"><p id="faint">faint</p><div id="wide">wide</div>';
    document.querySelector('main').append(bad);
    document.querySelector('#faint').style.color = '#ccc';
    document.querySelector('#wide').style.width = '4000px';
  });
  const probe = new Looker(w.out);
  await probe.axe(page, 'probe');
  await probe.fits(page, 'probe');
  for (const want of ['image-alt', 'color-contrast', 'wider than the screen']) {
    check('the look itself', probe.problems.some((p) => p.includes(want)), `did not find ${want}: ${probe.problems.join('; ')}`);
  }
  const narrowed = new Looker(w.out);
  await narrowed.axe(page, 'probe', lightAndWidth);
  check('the look itself', narrowed.problems.length > 0 && narrowed.problems.every((p) => p.includes('color-contrast')), `asked for contrast it found: ${narrowed.problems.join('; ')}`);
  await page.context().close();
}

// Every page for those who see it.
async function everyPage() {
  for (const who of Object.keys(w.people)) {
    const mine = w.pages.filter((p) => p.who === who);
    if (mine.length === 0) continue;
    const page = await inAs(who);
    for (const p of mine) {
      const r = await go(page, p.path);
      check(p.name, r.status() === (p.status ?? 200), `status ${r.status()}`);
      await look.at(page, p.name);
    }
    await page.context().close();
  }
}

// States that only come up after something was done.
async function states() {
  const context = await browser.newContext();
  const stranger = await context.newPage();
  await go(stranger, '/login');
  await look.at(stranger, 'login');
  await stranger.getByLabel('E-mail').fill('nobody@kelpgate.example');
  await stranger.getByLabel('Password').fill('not the password');
  await stranger.getByRole('button', { name: 'Log in' }).click();
  await says(stranger, 'login refused', '[role=alert]', 'is not right');
  await look.at(stranger, 'login-refused');
  await go(stranger, '/join/' + w.invitation);
  await look.at(stranger, 'join');
  await go(stranger, '/nowhere');
  await look.at(stranger, 'not-found');
  await context.close();

  const lead = await inAs('lead');
  await go(lead, '/account');
  await lead.getByLabel('Present password').fill('not the password');
  await lead.getByLabel('New password, at least 12 characters').fill('another sentence of mine');
  await lead.getByLabel('New password again').fill('yet another sentence of mine');
  await lead.getByRole('button', { name: 'Change it' }).click();
  await says(lead, 'password refused', '[role=alert]', 'The two new passwords differ.');
  await look.at(lead, 'account-refused');
  await go(lead, '/account');
  await lead.getByLabel('What it is for').fill('my desk');
  await lead.getByRole('button', { name: 'Make the token' }).click();
  await says(lead, 'token', '.command', 'PROOFHOUSE_TOKEN=pht_');
  await look.at(lead, 'account-token');
  await lead.reload(); // sends the form again: Chromium is asked by the script, not by a person
  await says(lead, 'token again', '[role=status]', 'shown once');
  await go(lead, '/people');
  await lead.getByLabel('Their e-mail').fill('bo@brackwater.example');
  await lead.getByLabel('artist').check();
  await lead.getByRole('button', { name: 'Make the invitation' }).click();
  await says(lead, 'invitation', '.command', '/join/phi_');
  await look.at(lead, 'people-invited');
  await go(lead, '/income');
  await look.at(lead, 'income');

  // A session that ran out in the middle of a note.
  await go(lead, delivery('lantern'));
  await lead.getByLabel('Write a note').fill('The glass is thicker now.');
  await lead.context().clearCookies();
  await lead.getByRole('button', { name: 'Add the note' }).click();
  await says(lead, 'held text', 'main', 'You were logged out meanwhile');
  check('held text', (await lead.locator('textarea').inputValue()) === 'The glass is thicker now.', 'the text is gone');
  await look.at(lead, 'logged-out');
  await lead.context().close();
}

// The vendor: log in, see what is asked, open it, read what to do, answer.
async function vendorStory() {
  const name = 'vendor story';
  const page = await inAs('lead');
  await page.getByRole('row', { name: /Mooring bollard/ }).getByRole('link', { name: /Delivery 2/ }).click();
  await says(page, name, 'h1', 'Mooring bollard');
  await says(page, name, '#issues', 'The largest lump on post stands 10.3 mm proud.');
  await says(page, name, '#issues', 'To do: Move the game surface out.');
  await page.locator('#issues').getByText('1 place').first().click();
  await says(page, name, '#issues', 'at 162, 299, 21 mm');
  await page.getByLabel('Write a note').fill('The post is mended; the cap cannot be seen from below.');
  await page.getByRole('button', { name: 'Add the note' }).dblclick();
  await page.locator('#notes li').last().waitFor();
  await says(page, name, '#notes', 'the cap cannot be seen from below');
  check(name, (await page.locator('#notes li').count()) === 2, 'a second click made a second note');
  await page.getByRole('link', { name: 'Mooring bollard' }).first().click();
  await page.goto(page.url().split('#')[0] + '/deliver'); // while it is reviewed no link offers it
  await says(page, name, 'main', './worker inspect --spec bollard-spec-1.yaml --milestone ');
  await page.goBack();
  await page.locator('#spec > summary').click();
  await page.locator('#spec').getByRole('link', { name: 'Revision 1' }).click();
  await says(page, name, 'h2', 'Must hold, or the delivery does not pass');
  await page.goBack();
  await says(page, name, 'h1', 'Mooring bollard');
  await go(page, '/specs/' + w.specs['lantern-2']);
  await page.getByRole('button', { name: 'Acknowledge revision 2' }).click();
  await says(page, name, '.facts', 'in force');
  await page.context().close();
}

// The producer: the order, what is released, a new vendor and its lead.
async function producerStory() {
  const name = 'producer story';
  const page = await inAs('producer');
  await page.getByRole('link', { name: 'Orders' }).click();
  await page.getByRole('link', { name: 'Quay furniture' }).click();
  await says(page, name, '.facts', 'EUR 708.30');
  await page.getByRole('link', { name: 'People' }).click();
  await page.getByLabel('The vendor’s name').fill('Tarbarrel Models');
  await page.getByRole('button', { name: 'Take on' }).click();
  await says(page, name, '[role=status]', 'taken on');
  await page.getByLabel('Vendor', { exact: true }).selectOption({ label: 'Tarbarrel Models' });
  await page.getByLabel('Their e-mail').nth(1).fill('una@tarbarrel.example');
  await page.getByRole('button', { name: 'Make the invitation' }).nth(1).click();
  const link = await page.locator('.command').innerText();
  const joining = await (await browser.newContext()).newPage();
  await joining.goto(link);
  await joining.getByLabel('Your name').fill('Una Voss');
  await joining.getByLabel('A password of at least 12 characters').fill(w.password);
  await joining.getByRole('button', { name: 'Join' }).click();
  await says(joining, name, 'main', 'Nothing waits for you.');
  await look.at(joining, 'work-empty');
  await joining.context().close();
  await page.context().close();
}

// The art director, with a mouse: return without a reason, be told, say it, see it recorded; then one issue as it is.
async function directorStory() {
  const name = 'art director story';
  const page = await inAs('director');
  await page.getByRole('link', { name: 'On my desk' }).click();
  await page.getByRole('link', { name: /Delivery 1/ }).first().click();
  await says(page, name, 'h1', 'Pier lantern');
  const order = await page.evaluate(() => [...document.querySelectorAll('.stills img')].map((i) => i.src.split('/').pop()));
  check(name, order[0] === 'prop_lit.png', `the first still is ${order[0]}`);
  const lit = await page.locator('.stills img').first().boundingBox();
  check(name, lit.y < 900 && lit.width > 600, `the lit still is ${Math.round(lit.width)} px wide at ${Math.round(lit.y)}: not on the first screen`);
  await page.getByRole('radio', { name: /Return/ }).check();
  await page.getByRole('button', { name: 'Decide', exact: true }).click();
  await says(page, name, '.decide [role=alert]', 'The reason is needed');
  check(name, await page.getByRole('radio', { name: /Return/ }).isChecked(), 'the choice is gone after a refusal');
  await look.at(page, 'delivery-refused');
  await page.getByLabel(/Note for the vendor/).fill('The glass is too clean for this pier.');
  await page.getByRole('button', { name: 'Decide', exact: true }).dblclick();
  await says(page, name, '.taken', 'You have decided: returned.');
  await page.getByRole('button', { name: 'Send it now' }).click();
  await page.locator('#decisions').waitFor();
  await says(page, name, '#decisions', 'returned by Marek Osei');
  check(name, (await page.locator('#decisions li').count()) === 1, 'a second click signed twice');
  await look.at(page, 'delivery-returned');
  await page.goBack();
  await page.goBack();
  await says(page, name, 'h1', 'Pier lantern'); // the refused form, and from there the page that it was on
  await page.goBack();
  await says(page, name, '#decisions', 'returned by Marek Osei');

  await go(page, delivery('bollard'));
  await page.locator('#finding-2 summary').click();
  await page.locator('#finding-2').getByLabel('Why it is good enough here').fill('The name never ships.');
  await look.at(page, 'delivery-conceding');
  await page.locator('#finding-2').getByRole('button').click();
  await says(page, name, '.conceded', 'Accepted as is by Marek Osei');
  await look.at(page, 'delivery-conceded');
  await page.context().close();
}

// The art director, with keys only and without script: from the top of the page to a signature.
async function keyboardStory() {
  const name = 'keyboard story';
  const page = await inAs('director', { javaScriptEnabled: false });
  await go(page, delivery('bollard'));
  await page.keyboard.press('Tab');
  check(name, (await focused(page)).text === 'Skip to the content', 'the first stop is not the way past the head');
  await page.keyboard.press('Enter');
  let stops = 0;
  for (; stops < 20 && (await focused(page)).name !== 'decision'; stops++) await page.keyboard.press('Tab');
  check(name, stops < 12, `the decision is ${stops} stops from the content`);
  await page.keyboard.press('ArrowDown');
  await page.keyboard.press('ArrowUp');
  await page.keyboard.press('Tab');
  check(name, (await focused(page)).name === 'reason', 'the reason does not come after the choice');
  await page.keyboard.type('It stands at the far end of the pier.');
  await page.keyboard.press('Tab');
  check(name, (await focused(page)).text === 'Decide', 'the button does not come after the reason');
  check(name, (await focused(page)).outline !== 'none', 'the focus cannot be seen');
  await page.keyboard.press('Enter');
  await page.locator('.taken').waitFor();
  for (let i = 0; i < 3 && (await focused(page)).text !== 'Send it now'; i++) await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.locator('#decisions').waitFor();
  await says(page, name, '#decisions', 'accepted as is by Marek Osei');
  await page.context().close();
}

// focused is what has the focus, asked of the debugger: the page itself may run without script.
async function focused(page) {
  const at = page.locator(':focus');
  if ((await at.count()) === 0) return {};
  return {
    name: await at.getAttribute('name'), text: (await at.innerText().catch(() => '')).trim(),
    outline: await at.evaluate((e) => getComputedStyle(e).outlineStyle),
  };
}

// On paper: no head, no forms, and what is folded is there.
async function print() {
  const page = await inAs('director');
  await go(page, delivery('buoy'));
  await page.emulateMedia({ media: 'print' });
  for (const selector of ['.top', '.decide', 'form', 'button', 'textarea']) {
    check('print', (await page.locator(selector + ':visible').count()) === 0, `${selector} is on paper`);
  }
  check('print', await page.getByText('877001 bytes arrived').isVisible(), 'what is folded is not on paper');
  await page.screenshot({ path: join(w.out, 'delivery-print.png'), fullPage: true });
  const pdf = await page.pdf({ path: join(w.out, 'delivery.pdf'), format: 'A4', printBackground: true });
  const sheets = (pdf.toString('latin1').match(/\/Type\s*\/Page\b/g) ?? []).length;
  check('print', sheets >= 1 && sheets <= 8, `${sheets} sheets`);
  await page.context().close();
}

// The 3D view: the model comes, the probe reads what was measured, a link opens on the same sight; without WebGL the still stays.
async function viewStory() {
  const name = '3D view';
  const page = await inAs('director');
  await go(page, delivery('bollard') + '/view');
  await page.locator('.view.live').waitFor();
  await page.getByLabel('Deviation from the sculpt').check();
  await page.locator('.legend:not([hidden])').waitFor();
  const box = await page.locator('.canvas').boundingBox();
  const middle = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(...middle);
  await page.locator('.reading', { hasText: 'the sculpt stands 4' }).waitFor();
  await page.getByRole('button', { name: 'Measure' }).click();
  await page.mouse.click(middle[0], middle[1] - 60);
  await page.mouse.click(middle[0], middle[1] + 60);
  await page.locator('.state', { hasText: 'apart' }).waitFor();
  await page.locator('.canvas').focus();
  await page.keyboard.press('ArrowLeft');
  await page.keyboard.press('+');
  await page.waitForFunction(() => location.hash.includes('skin=deviation'));
  const link = page.url();
  await page.screenshot({ path: join(w.out, 'view-deviation.png') });
  const other = await page.context().newPage();
  await other.goto(link);
  await other.locator('.view.live').waitFor();
  check(name, await other.getByLabel('Deviation from the sculpt').isChecked(), 'the link does not open on the same surface');
  check(name, (await other.evaluate(() => location.hash)).split('&')[0] === new URL(link).hash.split('&')[0], 'the link does not open on the same camera');
  // On a phone the prop stays in sight while the controls go by under the thumb.
  await other.setViewportSize({ width: 360, height: 780 });
  await other.locator('[data-place]').last().scrollIntoViewIfNeeded();
  const sight = await other.locator('.sight').boundingBox();
  check(name, sight.y >= 0 && sight.height > 300 && sight.y + sight.height < 400, `on a phone the sight is at ${sight.y}, ${sight.height} high`);
  await page.context().close();

  const without = await inAs('director');
  await without.addInitScript(() => { HTMLCanvasElement.prototype.getContext = () => null; });
  await go(without, delivery('bollard') + '/view');
  await without.locator('.state', { hasText: 'draws no 3D' }).waitFor();
  check(name, await without.locator('.still').isVisible(), 'without WebGL there is no still');
  check(name, !await without.locator('.controls').isVisible(), 'without WebGL there are controls of nothing');
  await without.context().close();
}

// A vendor drops a folder; the connection breaks in the middle; what has arrived is not sent again.
async function folderStory() {
  const name = 'folder story';
  const folder = mkdtempSync(join(tmpdir(), 'delivery-'));
  for (const [file, bytes] of [['ladder_game.glb', 70_000], ['ladder_normal.png', 90_000], ['notes.txt', 40]]) writeFileSync(join(folder, file), Buffer.alloc(bytes, file));
  const page = await inAs('lead');
  await go(page, '/props/' + w.props.ladder + '/deliver');
  await page.locator('#deliver:not([hidden])').waitFor();
  await page.locator('#folder').setInputFiles(folder);
  await page.locator('tbody tr').nth(2).waitFor();
  const roles = await page.locator('tbody input').evaluateAll((all) => all.map((i) => i.value));
  check(name, roles.join() === 'game,map.normal,other', `the roles told are ${roles}`);
  await look.at(page, 'lead-deliver-ready');
  // A role that nobody reads is asked about before the act that cannot be taken back.
  await page.locator('tbody input').nth(1).fill('map_normal');
  await page.getByRole('button', { name: 'Deliver', exact: true }).click();
  await says(page, name, '.missing', 'No check reads the role map_normal.');
  await look.at(page, 'lead-deliver-doubt');
  await page.locator('tbody input').nth(1).fill('map.normal');
  let broken = 0;
  const puts = [];
  await page.route(w.storage + '/**', (route) => {
    if (broken++ < 2) return route.abort('connectionreset');
    puts.push(new URL(route.request().url()).pathname);
    return route.continue();
  });
  await page.getByLabel('Note for the studio').fill('the first from the page');
  await page.getByRole('button', { name: 'Deliver' }).click();
  await page.waitForURL(/\/deliveries\/[0-9a-f-]{36}/);
  await says(page, name, 'h1', 'Quay ladder');
  check(name, broken >= 2, 'the connection was never broken');
  check(name, new Set(puts).size === puts.length, 'a file was sent twice');
  await page.context().close();
}

const only = process.env.PAGES_ONLY?.split(','); // some parts by their names, while one works on them
for (const part of [theLookItself, everyPage, states, producerStory, vendorStory, directorStory, keyboardStory, viewStory, folderStory, print]) {
  if (only && !only.includes(part.name)) continue;
  const began = Date.now();
  await part().catch((e) => look.say(part.name, `broke off: ${e.message.split('\n').slice(0, 6).join(' / ')}`));
  console.log(`${part.name}: ${((Date.now() - began) / 1000).toFixed(1)} s`);
}
await browser.close();
console.log(`${look.pages} pages and states, ${look.looks} runs of axe, ${look.problems.length} problems`);
for (const p of look.problems) console.log(p);
process.exit(look.problems.length > 0 ? 1 : 0);
