// send hashes the files, opens the delivery, uploads what is missing and seals. It resolves to the delivery's id.
import { sha256 } from '@noble/hashes/sha2.js'
import { bytesToHex, utf8ToBytes } from '@noble/hashes/utils.js'

// A file larger than this goes up in parts of this size: what a broken connection costs.
const partBytes = 32 << 20
// How many uploads run at once, and how often a piece is tried before the person is told.
const atOnce = 3
const tries = 8

export async function send(files, note, setup, { say, size, whole }) {
  const total = files.reduce((n, f) => n + f.blob.size, 0)
  await hashAll(files, (done) => { whole.value = total ? done / total / 2 : 0; say(setup.words.hashing, size(done), size(total)) })
  const key = keyOf(setup.milestone, note, files)
  const manifest = { files: files.map(entryOf), ...(note ? { note } : {}) }
  const opened = await ask(`/v1/milestones/${setup.milestone}/deliveries`, { method: 'POST', key: 'open-' + key, body: manifest })
  const id = opened.delivery.id
  if (opened.delivery.state === 'abandoned') throw new Error(setup.words.abandoned)
  if (opened.delivery.state !== 'sealed') await upload(id, opened.plan, files, setup, { say, size, whole })
  say(setup.words.sealing)
  await ask(`/v1/deliveries/${id}/seal`, { method: 'POST', key: 'seal-' + key })
  return id
}

// sendBatch opens a delivery for each group of files, all or none, sends them and seals them together. It resolves to the
// deliveries' ids, the first group's first.
export async function sendBatch(groups, title, setup, { say, size, whole }) {
  const files = groups.flatMap((g) => g.files)
  const total = files.reduce((n, f) => n + f.blob.size, 0)
  await hashAll(files, (done) => { whole.value = total ? done / total / 2 : 0; say(setup.words.hashing, size(done), size(total)) })
  const key = bytesToHex(sha256(utf8ToBytes(`${setup.batch.order}\n${title}\n` + groups.map((g) => keyOf(g.milestone, '', g.files) + '\n').join(''))))
  const batch = await ask(`/v1/work-orders/${setup.batch.order}/batches`, {
    method: 'POST', key: 'batch-' + key, body: { title, deliveries: groups.map((g) => ({ milestone_id: g.milestone, files: g.files.map(entryOf) })) },
  })
  const ids = []
  let before = 0
  for (const g of groups) {
    const bytes = g.files.reduce((n, f) => n + f.blob.size, 0)
    const d = batch.deliveries.find((one) => one.milestone_id === g.milestone)
    if (d.state === 'abandoned') throw new Error(setup.words.abandoned)
    if (d.state !== 'sealed') {
      // The bar is of the whole batch: what this delivery moves is a part of it.
      const part = { say, size, whole: { set value(v) { whole.value = 0.5 + (total ? (before + (v - 0.5) * 2 * bytes) / total / 2 : 0) } } }
      await upload(d.id, await ask(`/v1/deliveries/${d.id}/uploads`, {}), g.files, setup, part)
    }
    before += bytes
    ids.push(d.id)
  }
  say(setup.words.sealing)
  await ask(`/v1/batches/${batch.id}/seal`, { method: 'POST', key: 'seal-' + key })
  return ids
}

function entryOf(f) {
  const e = { path: f.path, role: f.role, bytes: f.blob.size, sha256: f.sha256 }
  if (f.parts.length > 1) Object.assign(e, { part_bytes: partBytes, part_sha256: f.parts })
  return e
}

// keyOf is the same for the same files of the same milestone, here and in the vendor's program.
function keyOf(milestone, note, files) {
  return bytesToHex(sha256(utf8ToBytes(`${milestone}\n${note}\n` + files.map((f) => `${f.path}\n${f.role}\n${f.sha256}\n`).join(''))))
}

async function hashAll(files, progress) {
  const worker = new Worker('/static/hash.js')
  let done = 0
  try {
    for (const f of files) {
      if (f.sha256) { done += f.blob.size; continue } // from an earlier try in this page
      Object.assign(f, await new Promise((resolve, reject) => {
        worker.onerror = (e) => reject(new Error(e.message))
        worker.onmessage = ({ data }) => {
          if (data.read) { done += data.read; progress(done) }
          else if (data.error) reject(new Error(f.path + ': ' + data.error))
          else resolve({ sha256: data.sha256, parts: data.parts })
        }
        worker.postMessage({ blob: f.blob, partBytes })
      }))
    }
  } finally {
    worker.terminate()
  }
}

// upload sends what the plan wants, a few pieces at once, and asks anew until nothing is wanted.
async function upload(id, plan, files, setup, ui) {
  const byPath = new Map(files.map((f) => [f.path, f]))
  for (let round = 0; round < tries; round++) {
    const pieces = plan.files.filter((f) => f.state !== 'there').flatMap((f) =>
      f.put ? [{ f, offset: 0, bytes: f.bytes, put: f.put }] : f.parts.map((p) => ({ f, offset: p.offset, bytes: p.bytes, put: p.put })))
    for (const f of plan.files) if (f.state === 'there') byPath.get(f.path).cell.textContent = setup.words.there
    if (pieces.length === 0) return
    let done = plan.bytes_there
    const moved = (n) => { done += n; ui.whole.value = 0.5 + (plan.bytes_total ? done / plan.bytes_total / 2 : 0); ui.say(setup.words.sending, ui.size(done), ui.size(plan.bytes_total)) }
    const queue = pieces.slice()
    const run = async () => {
      for (let p = queue.shift(); p; p = queue.shift()) {
        await put(p, byPath.get(p.f.path), moved, setup, ui)
      }
    }
    await Promise.all(Array.from({ length: atOnce }, run))
    plan = await ask(`/v1/deliveries/${id}/uploads`, {})
  }
  throw new Error(setup.words.failed.replace('{0}', ''))
}

// put sends one piece, again with growing pauses where the connection breaks. 412 says that it is there already, 403 that the
// link has run out: the next plan tells.
async function put(p, file, moved, setup, ui) {
  for (let n = 1; ; n++) {
    let sent = 0
    const status = await putOnce(p, file.blob.slice(p.offset, p.offset + p.bytes), (all) => {
      moved(all - sent)
      sent = all
      file.cell.textContent = Math.round(100 * (p.offset + all) / Math.max(1, file.blob.size)) + ' %'
    })
    if (status === 200 || status === 412 || status === 403) return
    if (status >= 400 && status < 500 && status !== 408 && status !== 429) throw new Error(setup.words.changed.replace('{0}', file.path))
    moved(-sent)
    if (n === tries) throw new Error(status ? String(status) : '')
    const seconds = Math.min(30, 2 ** (n - 1))
    for (let left = seconds; left > 0; left--) {
      ui.say(setup.words.waiting, left)
      await Promise.race([new Promise((r) => setTimeout(r, 1000)), new Promise((r) => window.addEventListener('online', r, { once: true }))])
    }
  }
}

function putOnce(p, blob, progress) {
  return new Promise((resolve) => {
    const x = new XMLHttpRequest() // fetch tells nothing of an upload's progress
    x.open(p.put.method, p.put.url)
    for (const [k, v] of Object.entries(p.put.headers)) if (k.toLowerCase() !== 'content-length' && k.toLowerCase() !== 'host') x.setRequestHeader(k, v)
    x.upload.onprogress = (e) => progress(e.loaded)
    x.onload = () => resolve(x.status)
    x.onerror = x.onabort = x.ontimeout = () => resolve(0)
    x.send(blob)
  })
}

// ask speaks to the interface, again after a break; a refusal is thrown in its own words.
async function ask(address, { method = 'GET', key, body }) {
  const headers = { ...(key ? { 'Idempotency-Key': key } : {}), ...(body ? { 'Content-Type': 'application/json' } : {}) }
  for (let n = 1; ; n++) {
    let answer
    try {
      answer = await fetch(address, { method, headers, body: body && JSON.stringify(body) })
    } catch (err) {
      if (n === tries) throw err
    }
    if (answer?.ok) return answer.json()
    if (answer && answer.status < 500 && answer.status !== 429 && answer.status !== 409) {
      const problem = await answer.json().catch(() => ({}))
      throw new Error(problem.detail || problem.title || String(answer.status))
    }
    if (n === tries) throw new Error(answer ? (await answer.json().catch(() => ({}))).detail || String(answer.status) : '')
    await new Promise((r) => setTimeout(r, 1000 * Math.min(16, 2 ** (n - 1))))
  }
}
