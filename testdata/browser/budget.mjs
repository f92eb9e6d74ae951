// Every page's budget of speed in a real browser that has nothing cached, as a phone on a slow mobile network gets it: bytes on the wire,
// requests, when the largest thing is painted, how far things jump, what script and the whole page cost the processor, and the server's own time.
// Reads base, password, people and pages as the other scripts do; prints a table and ends with 1 where a page is over.
import { readFileSync } from 'node:fs';
import { launch, logIn } from './browser.mjs';

const w = JSON.parse(readFileSync(0, 'utf8'));
const browser = await launch();
const problems = [];

// The network: round trips of 150 ms and 1.6 Mbit/s down, what page-speed tools call a slow 4G (common practice, no source; figures
// from memory). Painted and jump are the thresholds of "good" in the Web Vitals (web.dev/articles/vitals; from memory): 2.5 s, 0.1;
// script is the 200 ms of the same source, in processor time of the page's main thread, so that other work on the machine adds nothing; busy is
// all that the thread does for the page. Bytes and the server's time are the promise of this program.
const network = { offline: false, latency: 150, downloadThroughput: 1.6e6 / 8, uploadThroughput: 750e3 / 8 };
const most = { bytes: 150 << 10, turning: 400 << 10, requests: 12, painted: 2500, jump: 0.1, script: 200, busy: 1000, nodes: 6000, server: 100 };

// A page with stills loads what is seen first; the rest waits to be scrolled to. What a page with pictures may have of them.
const mostPictures = 1200 << 10;

// The script of the 3D view and the models that it turns come after the page, and have a bound of their own.
const ofTheView = /\/static\/(viewer|turn)\.js|\.glb/;

const watch = () => {
  window.seen = { painted: 0, jump: 0, jumped: [] };
  new PerformanceObserver((l) => { for (const e of l.getEntries()) window.seen.painted = e.startTime; }).observe({ type: 'largest-contentful-paint', buffered: true });
  new PerformanceObserver((l) => { for (const e of l.getEntries()) if (!e.hadRecentInput) { window.seen.jump += e.value; window.seen.jumped.push(...e.sources.map((s) => s.node?.nodeName + '.' + (s.node?.className ?? ''))); } }).observe({ type: 'layout-shift', buffered: true });
};

// first loads a page in a browser that has only the session.
async function first(state, path) {
  const context = await browser.newContext({ storageState: state, viewport: { width: 390, height: 844 } });
  const page = await context.newPage();
  await page.addInitScript(watch);
  const cdp = await context.newCDPSession(page);
  await cdp.send('Network.enable');
  await cdp.send('Performance.enable', { timeDomain: 'threadTicks' });
  await cdp.send('Network.emulateNetworkConditions', network);
  const kinds = new Map();
  let bytes = 0, pictures = 0, turning = 0, requests = 0;
  cdp.on('Network.responseReceived', (e) => kinds.set(e.requestId, ofTheView.test(e.response.url) ? 'view' : e.type));
  cdp.on('Network.loadingFinished', (e) => {
    const kind = kinds.get(e.requestId);
    if (kind === 'Image') pictures += e.encodedDataLength;
    else if (kind === 'view') turning += e.encodedDataLength;
    else { bytes += e.encodedDataLength; requests++; }
  });
  const answer = await page.goto(w.base + path, { waitUntil: 'load' });
  await page.bringToFront();
  await page.waitForFunction(() => window.seen.painted > 0, null, { timeout: 3000 }).catch(() => {}); // told as never painted
  await page.waitForTimeout(300); // what script adds late moves what is there
  const metrics = Object.fromEntries((await cdp.send('Performance.getMetrics')).metrics.map((m) => [m.name, m.value * 1000]));
  const seen = await page.evaluate(() => ({ ...window.seen, nodes: document.querySelectorAll('*').length }));
  await context.close();
  return { status: answer.status(), bytes, pictures, turning, requests, script: metrics.ScriptDuration, busy: metrics.TaskDuration, ...seen };
}

// serverMS is the least of some answers' times to the first byte, from this machine to itself: what other work on the machine adds is
// not the page's.
async function serverMS(page, path) {
  let least = Infinity;
  for (let i = 0; i < 20 && least > most.server / 2; i++) {
    const t = performance.now();
    const r = await page.request.get(w.base + path, { maxRedirects: 0 });
    least = Math.min(least, performance.now() - t);
    await r.dispose();
  }
  return least;
}

// best is the best painted of some loads: a machine that does other work paints late, and never early.
async function best(state, path) {
  let got = await first(state, path);
  for (let i = 0; i < 3 && !(got.painted > 0 && got.painted <= most.painted); i++) {
    const again = await first(state, path);
    if (again.painted > 0 && !(got.painted > 0 && got.painted < again.painted)) got = again;
  }
  if (!(got.painted > 0)) got.painted = Infinity;
  return got;
}

const kb = (n) => (n / 1024).toFixed(1).padStart(7);
console.log('page                                kB  3D view  pictures  requests  painted ms  jump  script ms  busy ms  nodes  server ms');
for (const who of Object.keys(w.people)) {
  const page = await logIn(browser, w.base, w.people[who], w.password);
  const state = await page.context().storageState();
  for (const p of w.pages.filter((p) => p.who === who && !p.status && p.name.includes(process.env.PAGES_ONLY ?? ''))) {
    const got = await best(state, p.path);
    got.server = await serverMS(page, p.path);
    const is3D = p.path.endsWith('/view');
    console.log(`${p.name.padEnd(30)} ${kb(got.bytes)}  ${kb(got.turning)}  ${kb(got.pictures)}  ${String(got.requests).padStart(8)}  ${got.painted.toFixed(0).padStart(10)}  ${got.jump.toFixed(2)}  ${got.script.toFixed(0).padStart(9)}  ${got.busy.toFixed(0).padStart(7)}  ${String(got.nodes).padStart(5)}  ${got.server.toFixed(1).padStart(9)}`);
    for (const [what, limit] of Object.entries(most)) {
      if (is3D && ['painted', 'script', 'busy'].includes(what)) continue; // the 3D view has a budget of its own
      if (got[what] > limit) problems.push(`${p.name}: ${what} is ${got[what]}, over ${limit}${what === 'jump' ? ': ' + got.jumped.join(', ') : ''}`);
    }
    if (got.pictures > mostPictures && !is3D) problems.push(`${p.name}: ${got.pictures} bytes of pictures before anything is scrolled`);
  }
  await page.context().close();
}
await browser.close();
for (const p of problems) console.log(p);
process.exit(problems.length > 0 ? 1 : 0);
