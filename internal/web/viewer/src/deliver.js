// Delivering a folder from the page: read it, ask for roles, hash in a worker, send what the service still wants, seal.
// It speaks to the interface as any program does. After any break the same folder goes on where it stopped: the keys are
// made of the files' digests, and the service says what has arrived.
import { filesOf } from './folder.js'
import { send, sendBatch } from './send.js'

const root = document.getElementById('deliver')
const setup = JSON.parse(document.getElementById('deliver-data').textContent)
const words = setup.words
const line = root.querySelector('.state')
const whole = root.querySelector('.whole')
const form = root.querySelector('form')
const list = form.querySelector('tbody')
const button = form.querySelector('button.act')
const doubt = form.querySelector('.missing')
let sure = false // missing files were named, and it is to be sent all the same
let files = []
let groups = [] // of a batch: one for each prop
let busy = false

root.hidden = false

export function say(text, ...args) {
  line.textContent = args.reduce((t, a, i) => t.replace(`{${i}}`, a), text)
}

const number = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 1 })
export function size(bytes) {
  for (const unit of ['B', 'KB', 'MB', 'GB']) {
    if (bytes < 1000 || unit === 'GB') return number.format(bytes) + '\u00a0' + unit
    bytes /= 1000
  }
}

async function take(found) {
  if (busy) return
  if (found.length === 0) { say(words.empty); return }
  files = found
  say(words.asking)
  try {
    if (setup.batch) await askByProp()
    else await askRoles(files, setup.roles)
  } catch (err) { // out of reach, or refused: the folder can be dropped again
    say(words.failed, err.message)
    return
  }
  list.replaceChildren(...files.map(row))
  doubt.hidden = true
  form.hidden = false
  say(words.ready, files.length, size(files.reduce((n, f) => n + f.blob.size, 0)))
}

// askRoles asks what files are, by their names.
async function askRoles(files, address) {
  const answer = await fetch(address, { method: 'POST', body: new URLSearchParams({ paths: files.map((f) => f.path).join('\n') }) })
  if (!answer.ok) throw new Error(String(answer.status))
  const told = await answer.json()
  files.forEach((f, i) => Object.assign(f, told.files[i], { told: told.files[i].role }))
  files.requires = told.requires
}

// missing names the roles that the milestone asks for and no file has, for a batch with the prop's folder. What is delivered cannot be
// taken back, so it is asked before; a role may also be inside a file, which only the inspection sees, so it is no refusal.
function missing() {
  const has = (of, role) => {
    const open = role.endsWith('*') ? role.slice(0, -1) : role + '@' // a map of one set is the map too
    return of.some((f) => f.blob.size > 0 && (f.role === role || f.role.startsWith(open)))
  }
  const of = (group) => (group.requires || []).filter((role) => !has(group, role))
  if (!setup.batch) return of(files)
  return groups.flatMap((g) => of(g.files).map((role) => g.code + '/ ' + role))
}

// odd names the roles that nobody knows: neither told by a name nor asked for by the spec nor offered by the field. A spec may have
// roles of its own, so it is asked and not refused.
function odd() {
  const known = new Set([...document.querySelectorAll('#roles option')].map((o) => o.value))
  const of = setup.batch ? groups.map((g) => g.files) : [files]
  for (const group of of) for (const role of group.requires || []) known.add(role)
  const strange = files.map((f) => f.role).filter((r, i) => r !== files[i].told && !known.has(r) && !/^(game\.lod\d{1,2}|(map|source)\..+)$/.test(r))
  return [...new Set(strange)]
}

// askByProp sorts the files of a batch by the folder each lies in, which bears its prop's code, and asks for their roles.
async function askByProp() {
  const byCode = new Map()
  for (const f of files) {
    const cut = f.path.indexOf('/')
    const code = cut < 0 ? '' : f.path.slice(0, cut)
    f.shown = f.path
    f.path = f.path.slice(cut + 1)
    if (!byCode.has(code)) byCode.set(code, [])
    byCode.get(code).push(f)
  }
  const unknown = [...byCode.keys()].filter((code) => !setup.batch.props[code])
  if (unknown.length > 0) throw new Error(words.unknown.replace('{0}', unknown.map((c) => c || '–').join(', ')))
  groups = []
  for (const [code, of] of byCode) {
    const prop = setup.batch.props[code]
    await askRoles(of, prop.roles)
    of.forEach((f) => { f.path = f.path || f.shown })
    groups.push({ code, milestone: prop.milestone, files: of })
  }
}

function row(f) {
  const tr = document.createElement('tr')
  tr.setAttribute('role', 'row')
  const th = document.createElement('th')
  th.setAttribute('role', 'rowheader')
  th.scope = 'row'
  th.textContent = f.shown || f.path
  const role = document.createElement('td')
  const pick = document.createElement('input')
  pick.value = f.role
  pick.setAttribute('list', 'roles')
  pick.required = true
  pick.setAttribute('aria-label', f.shown || f.path)
  pick.addEventListener('input', () => { f.role = pick.value.trim(); doubt.hidden = true })
  role.append(pick)
  if (f.why) {
    const why = document.createElement('span')
    why.className = 'beside'
    why.textContent = f.why
    role.append(why)
  }
  const bytes = document.createElement('td')
  bytes.textContent = size(f.blob.size)
  f.cell = document.createElement('td')
  f.cell.textContent = words.waits
  for (const [td, label] of [[role, words.column_role], [bytes, words.column_size], [f.cell, words.column_sent]]) {
    td.setAttribute('role', 'cell')
    td.dataset.label = label
  }
  tr.append(th, role, bytes, f.cell)
  return tr
}

form.addEventListener('submit', async (e) => {
  e.preventDefault()
  if (busy) return
  const doubts = []
  if (!sure) {
    const lacking = missing(), strange = odd()
    if (strange.length > 0) doubts.push(words.odd_role.replace('{0}', strange.join(', ')))
    if (lacking.length > 0) doubts.push(words.missing.replace('{0}', lacking.join(', ')))
  }
  sure = false
  doubt.hidden = doubts.length === 0
  if (doubts.length > 0) {
    doubt.querySelector('p').textContent = doubts.join(' ')
    return
  }
  busy = true
  button.disabled = true
  whole.hidden = false
  line.scrollIntoView({ block: 'nearest' }) // above a long list, below which the button is
  try {
    const note = form.note.value.trim()
    const to = setup.batch ? (await sendBatch(groups, note, setup, { say, size, whole }), setup.batch.after) : setup.delivery + await send(files, note, setup, { say, size, whole })
    busy = false
    location.assign(to)
  } catch (err) {
    say(words.failed, err.message + ' ' + words.again)
    button.disabled = false
    whole.hidden = true
    busy = false
  }
})

doubt.querySelector('button').addEventListener('click', () => { sure = true; form.requestSubmit(button) })

window.addEventListener('beforeunload', (e) => { if (busy) e.preventDefault() })
root.querySelector('#folder').addEventListener('change', async (e) => {
  take([...e.target.files].map((blob) => ({ path: blob.webkitRelativePath.split('/').slice(1).join('/') || blob.name, blob })).filter(kept).sort(byPath))
  e.target.value = '' // the same folder chosen again is read again
})
const drop = root.querySelector('.drop')
for (const kind of ['dragenter', 'dragover']) root.addEventListener(kind, (e) => { e.preventDefault(); drop.classList.add('over') })
for (const kind of ['dragleave', 'drop']) root.addEventListener(kind, () => drop.classList.remove('over'))
root.addEventListener('drop', async (e) => {
  e.preventDefault()
  if (busy) return
  say(words.reading)
  try {
    take((await filesOf(e.dataTransfer)).filter(kept).sort(byPath))
  } catch (err) {
    say(words.failed, err.message)
  }
})

// What systems leave in folders is no part of a delivery; nor are an earlier inspection's leavings or the manifest, which
// the page makes itself.
function kept(f) {
  return !f.path.split('/').some((n) => n.startsWith('.') || n === '__MACOSX' || /^(thumbs\.db|desktop\.ini)$/i.test(n)) && f.path !== 'delivery.yaml'
}

// Paths in the order of a walk through the folder, as the vendor's program has them: then a delivery that one began, the
// other goes on with.
function byPath(a, b) {
  const x = a.path.split('/'), y = b.path.split('/')
  for (let i = 0; i < Math.min(x.length, y.length); i++) if (x[i] !== y[i]) return x[i] < y[i] ? -1 : 1
  return x.length - y.length
}

// Lines to paste: a button puts them on the clipboard; where the browser keeps it closed (a page that did not come over
// https), it marks them instead.
for (const copy of document.querySelectorAll('[data-copy]')) {
  const line = copy.parentElement.querySelector('code')
  const label = copy.textContent
  copy.hidden = false
  copy.addEventListener('click', async () => {
    try {
      await navigator.clipboard.writeText(line.textContent)
      copy.textContent = copy.dataset.copied
      setTimeout(() => { copy.textContent = label }, 2000)
    } catch {
      getSelection().selectAllChildren(line)
    }
  })
}
