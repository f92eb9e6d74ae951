// A year of contracts in one afternoon, through the public interface alone, by a client that an independent generator made
// from the description: from the order to the payment, with a failed round, a change of the spec, an issue accepted as is, a
// sign-off and the export. Reads what it needs as JSON from the standard input, writes the export to the file named there.
import { createHash } from 'node:crypto';
import { readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import assert from 'node:assert/strict';
import { createClient } from './out/client';
import * as api from './out/sdk.gen';
import type { Delivery, MilestoneKind, NewFile } from './out/types.gen';

const given = JSON.parse(readFileSync(0, 'utf8')) as {
  base: string; email: string; password: string; spec: string; bad: string; good: string; roles: Record<string, string>; export: string;
};

const anyone = () => createClient({ baseUrl: given.base });
let acts = 0;
const key = () => ({ 'Idempotency-Key': `generated-client-${process.pid}-${acts++}` });

// done unwraps an answer, and tells the problem where it is none.
function done<T>(r: { data?: T; error?: unknown; response?: Response }): T {
  if (r.error !== undefined) throw new Error(`${r.response?.status} ${r.response?.url}: ${JSON.stringify(r.error)}`);
  return r.data as T;
}

// refused is the problem's type of an answer that must be one.
function refused(r: { data?: unknown; error?: unknown; response?: Response }, status: number, type: string) {
  assert.equal(r.response?.status, status);
  assert.equal((r.error as { type: string }).type, '/problems/' + type);
}

// person logs in and works on with a token.
async function person(email: string, password: string, scopes: ('order' | 'review' | 'admin' | 'deliver' | 'read')[]) {
  const client = anyone();
  const { response } = await api.logIn({ client, body: { email, password } });
  assert.equal(response?.status, 201);
  const cookie = response!.headers.get('set-cookie')!.split(';')[0];
  const token = done(await api.createToken({ client, body: { name: 'generated client', scopes, days: 1 }, headers: { ...key(), Cookie: cookie } as never }));
  return createClient({ baseUrl: given.base, auth: () => token.secret! });
}

const sha256 = (data: Buffer) => createHash('sha256').update(data).digest('hex');

// deliver opens, uploads and seals a folder, and waits for the inspection.
async function deliver(client: ReturnType<typeof anyone>, milestone: string, folder: string, note: string): Promise<Delivery> {
  const data = new Map<string, Buffer>();
  for (const name of readdirSync(folder)) if (given.roles[name]) data.set(name, readFileSync(join(folder, name)));
  const files: NewFile[] = [...data].map(([path, d]) => ({ path, role: given.roles[path], bytes: d.length, sha256: sha256(d) }));
  const opened = done(await api.openDelivery({ client, path: { milestone_id: milestone }, headers: key(), body: { note, files } }));
  const delivery_id = opened.delivery.id;
  const early = await api.sealDelivery({ client, path: { delivery_id }, headers: key() });
  if (opened.plan.files.some((f) => f.state === 'waiting')) refused(early, 409, 'bytes-missing');
  for (const f of opened.plan.files) {
    if (f.state === 'there') continue;
    const sent = await fetch(f.put!.url, { method: f.put!.method, headers: f.put!.headers, body: new Uint8Array(data.get(f.path)!) });
    assert.equal(sent.status, 200, f.path);
  }
  const sealed = done(await api.sealDelivery({ client, path: { delivery_id }, headers: key() }));
  assert.equal(sealed.receipt.kind, 'delivery.sealed');
  for (const until = Date.now() + 120_000; Date.now() < until; await new Promise((r) => setTimeout(r, 200))) {
    const d = done(await api.getDelivery({ client, path: { delivery_id } }));
    if (d.inspection?.verdict) return d;
  }
  throw new Error('no verdict came');
}

async function everyFinding(client: ReturnType<typeof anyone>, inspection_id: string) {
  const all = [];
  for (let after: string | undefined; ;) {
    const page = done(await api.listFindings({ client, path: { inspection_id }, query: { limit: 20, after } }));
    all.push(...page.items);
    if (!page.next) return all;
    after = page.next;
  }
}

const studio = await person(given.email, given.password, ['order', 'review', 'admin']);

// The contract.
const vendorParty = done(await api.createVendor({ client: studio, headers: key(), body: { name: 'Tarred Rope Models' } }));
const invitation = done(await api.invite({ client: studio, headers: key(), body: { party_id: vendorParty.id, email: 'runa@tarredrope.example', roles: ['vendor_lead'] } }));
done(await api.acceptInvitation({ client: anyone(), body: { secret: invitation.secret!, name: 'Runa Holm', password: 'a sentence about tarred rope' } }));
const vendor = await person('runa@tarredrope.example', 'a sentence about tarred rope', ['deliver']);
const project = done(await api.createProject({ client: studio, headers: key(), body: { code: 'EASTPIER', title: 'The east pier' } }));
const order = done(await api.createWorkOrder({
  client: studio, headers: key(),
  body: { project_id: project.id, vendor_id: vendorParty.id, code: 'PIER-ROPE-1', title: 'Bollards', currency: 'EUR', rounds_included: 2, review_days: 5, terms: 'Net 30 days.' },
}));
const share: [MilestoneKind, number][] = [['game_mesh', 4000], ['final', 6000]];
const prop = done(await api.createProp({
  client: studio, path: { work_order_id: order.id }, headers: key(),
  body: { code: 'bollard', title: 'Mooring bollard', tier: 'mid', price: { amount_minor: 90_000, currency: 'EUR' }, milestones: share.map(([kind, share_bp]) => ({ kind, share_bp })) },
}));
const [gameMesh, final] = prop.milestones;
const first = done(await api.publishSpec({ client: studio, path: { prop_id: prop.id }, headers: key(), body: { document: given.spec, note: 'As ordered.' } }));
const explained = done(await api.explainSpec({ client: vendor, path: { spec_id: first.id }, query: { milestone: 'game_mesh' } }));
assert.ok(explained.rows.some((r) => r.check === 'budget.triangles' && r.value === '2000'));
refused(await api.publishSpec({ client: vendor, path: { prop_id: prop.id }, headers: key(), body: { document: given.spec } }), 403, 'not-allowed');

// A failed round, returned for what was found.
const failed = await deliver(vendor, gameMesh.id, given.bad, 'first try');
assert.equal(failed.inspection!.verdict, 'fail');
const blocking = (await everyFinding(vendor, failed.inspection!.id)).filter((f) => f.outcome === 'fail' && f.blocks);
assert.ok(blocking.length > 0);
refused(await api.signOff({ client: studio, path: { delivery_id: failed.id }, headers: key(), body: { decision: 'accept' } }), 409, 'wrong-state');
refused(await api.signOff({ client: vendor, path: { delivery_id: failed.id }, headers: key(), body: { decision: 'return', reason: 'mine' } }), 403, 'not-allowed');
done(await api.signOff({ client: studio, path: { delivery_id: failed.id }, headers: key(), body: { decision: 'return', cause: 'nonconformity', reason: 'The lump on the left side.' } }));

// A change of the spec: offered, read as a difference, acknowledged.
const second = done(await api.publishSpec({
  client: studio, path: { prop_id: prop.id }, headers: key(), body: { document: given.spec.replace('max_triangles: 2000', 'max_triangles: 2200'), note: 'A few more triangles.' },
}));
const difference = done(await api.compareSpecs({ client: vendor, path: { spec_id: second.id } }));
assert.deepEqual(difference.rows.map((r) => [r.check, r.before, r.after]), [['budget.triangles', '2000', '2200']]);
done(await api.acknowledgeSpec({ client: vendor, path: { spec_id: second.id }, headers: key() }));

// The same issue again; this time it is accepted as is, finding by finding, and signed.
const again = await deliver(vendor, gameMesh.id, given.bad, 'the lump is the rope’s eye');
assert.equal(again.spec_id, second.id);
for (const f of (await everyFinding(studio, again.inspection!.id)).filter((f) => f.blocks && (f.outcome === 'fail' || f.outcome === 'not_evaluated'))) {
  done(await api.grantConcession({ client: studio, path: { inspection_id: again.inspection!.id }, headers: key(), body: { ord: f.ord, reason: 'Never seen from the quay.' } }));
}
const conceded = done(await api.signOff({ client: studio, path: { delivery_id: again.id }, headers: key(), body: { decision: 'accept', reason: 'Left as it is.' } }));
assert.equal(conceded.receipt.kind, 'milestone.signed_off');

// The final delivery is clear, and its sign-off releases the rest.
const last = await deliver(vendor, final.id, given.good, 'final');
assert.equal(last.inspection!.verdict, 'pass', last.inspection!.headline ?? '');
const signing = key();
const body = { decision: 'accept' as const };
const signed = done(await api.signOff({ client: studio, path: { delivery_id: last.id }, headers: signing, body }));
const repeated = done(await api.signOff({ client: studio, path: { delivery_id: last.id }, headers: signing, body }));
assert.equal(repeated.receipt.index, signed.receipt.index);

const owed = done(await api.listPayables({ client: vendor, query: { work_order_id: order.id } }));
assert.deepEqual(owed.items.map((p) => p.amount.amount_minor).sort((a, b) => a - b), [36_000, 54_000]);
const whole = done(await api.getWorkOrder({ client: vendor, path: { work_order_id: order.id } }));
assert.deepEqual(whole.payable, { amount_minor: 90_000, currency: 'EUR' });

// What both sides keep.
const bundle = await api.exportWorkOrder({ client: vendor, path: { work_order_id: order.id }, parseAs: 'text' });
writeFileSync(given.export, done(bundle) as unknown as string);
console.log(JSON.stringify({ order: order.id, receipts: [signed.receipt] }));
