// Review by keys: decide, look in other ways, go on. Everything here has a form or a link on the page that does the same.
import { Ink } from './ink.js'
import { keyList } from './keylist.js'

const setup = JSON.parse(document.getElementById('review-data').textContent)
const byKey = (k) => [...document.querySelectorAll('[data-key]')].find((e) => e.dataset.key === k && !e.disabled && e.offsetParent !== null)

// typing says whether a key belongs to what is being written.
function typing(e) {
  return e.target.closest('input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea, select, [contenteditable]') !== null
}

function one() {
  const root = document.getElementById('one')
  const reason = document.getElementById('reason')
  const form = document.querySelector('form.onedecide')
  const lit = document.getElementById('lit')
  const ink = lit && form ? new Ink(lit, document.getElementById('ink'), document.getElementById('sketch')) : null
  const shown = { kind: 'lit', last: false }
  let look = null, chosen = null // the button of the decision that waits for its words

  keepDraft()
  fetchNext()
  for (const a of document.querySelectorAll('[data-ref]')) a.addEventListener('click', (e) => { e.preventDefault(); document.getElementById('ref').src = a.href })
  for (const a of document.querySelectorAll('[data-place]')) a.addEventListener('click', (e) => { if (look) { e.preventDefault(); look.fly(setup.places[Number(a.dataset.place)]); pressed() } })
  for (const b of document.querySelectorAll('#keys button')) {
    if (b.dataset.do === 'last') {
      b.addEventListener('pointerdown', () => flick(true))
      for (const end of ['pointerup', 'pointerleave', 'pointercancel']) b.addEventListener(end, () => flick(false))
    } else b.addEventListener('click', () => way(b.dataset.do))
  }
  // The turntable comes last: what decides is on the screen already.
  const table = document.getElementById('view')
  if (table && setup.revisions?.length) {
    const say = (text) => { const s = table.querySelector('.state'); s.textContent = text; s.hidden = text === '' }
    requestIdleCallback(() => {
      import('/static/turn.js').then((m) => m.begin(table, setup, say)).then((l) => { look = l; window.look = l; pressed() }, () => say(setup.words.no_webgl))
    }, { timeout: 1500 })
  }

  // picture shows the still that is asked for.
  function picture() {
    const s = setup.stills[shown.kind]
    if (!s || !lit) return
    lit.src = shown.last && s.before ? s.before : s.now
    ink?.fade(shown.kind !== 'lit' || shown.last)
  }

  function flick(on) {
    if (shown.last === on) return
    shown.last = on
    picture()
    look?.set('last', on)
    pressed()
  }

  function way(what) {
    switch (what) {
      case 'clay': case 'outline':
        shown.kind = shown.kind === what ? 'lit' : what
        picture()
        look?.set('clay', shown.kind === 'clay')
        break
      case 'sculpt': case 'changed': look?.set(what, !look.is(what)); break
      case 'turn': look?.turn(!look.turning()); break
      case 'light': look?.turn(false); look?.light(!look.lighting()); break
      case 'draw': ink?.toggle(); break
      case 'inklast': ink?.wipe(false); break
      case 'inkall': ink?.wipe(true); break
      case 'real': root.classList.toggle('realbig'); document.querySelector('.row3').focus(); break
    }
    pressed()
  }

  function pressed() {
    const on = { clay: shown.kind === 'clay', outline: shown.kind === 'outline', last: shown.last, sculpt: look?.is('sculpt'), changed: look?.is('changed'), turn: look?.turning(), light: look?.lighting(), draw: ink?.on, real: root.classList.contains('realbig') }
    for (const b of document.querySelectorAll('#keys button')) b.setAttribute('aria-pressed', String(Boolean(on[b.dataset.do])))
  }

  // Some decisions need words for the vendor. A key chooses such a one, which is shown, and Ctrl and Enter sends it.
  const needsWords = (b) => ['accept_note', 'return', 'accept_as_is'].includes(b.value) || b.formAction.includes('/hold') && b.name !== 'resume'
  const worded = () => reason.value.trim() !== '' || Boolean(document.getElementById('savednote')?.value)
  const nameOf = (b) => b.textContent.trim()
  const tell = (text) => { const line = document.getElementById('chosen'); if (line) line.textContent = text }
  function choose(b) {
    chosen?.classList.remove('chosen')
    chosen = b
    b?.classList.add('chosen')
    tell(b ? setup.words.chosen.replace('{0}', nameOf(b)) : '')
    if (b) reason.focus()
  }
  function send() {
    if (!chosen) { tell(setup.words.choose_first); return }
    if (!worded()) { tell(setup.words.needs_note.replace('{0}', nameOf(chosen))); reason.focus(); return }
    chosen.click()
  }
  // Clicked without words it would only be refused: it is chosen instead.
  form?.addEventListener('submit', (e) => { if (e.submitter && needsWords(e.submitter) && !worded()) { e.preventDefault(); choose(e.submitter); tell(setup.words.needs_note.replace('{0}', nameOf(e.submitter))) } })

  document.addEventListener('keydown', (e) => {
    if (e.key === 'Enter' && (e.ctrlKey || e.metaKey) && form) { e.preventDefault(); send(); return }
    if (e.ctrlKey || e.metaKey || e.altKey || e.repeat && e.key !== 'l' || document.querySelector('dialog[open]')) return
    if (e.key === 'Escape') {
      if (root.classList.contains('realbig')) way('real')
      else if (ink?.on) way('draw')
      else { choose(null); document.activeElement.blur() }
      return
    }
    if (typing(e)) return
    const k = e.key.length === 1 ? e.key.toLowerCase() : e.key
    if (k === ' ' && e.target.closest('button, a, summary, input')) return
    const b = byKey(k)
    if (!b) return
    e.preventDefault()
    if (b.dataset.do === 'last') { flick(true); return }
    if (b.form === form && form && needsWords(b)) { choose(b); return }
    if (b.closest('#keys, .inkacts')) { way(b.dataset.do); return }
    if (b.tagName === 'A') { location.href = b.href; return }
    b.click()
  })
  document.addEventListener('keyup', (e) => { if (e.key.toLowerCase() === 'l') flick(false) })
  addEventListener('blur', () => flick(false))
  for (const b of document.querySelectorAll('.inkacts button')) b.addEventListener('click', () => way(b.dataset.do))

  // keepDraft keeps what is being written until it is sent, also over a session that ran out.
  function keepDraft() {
    if (!reason) return
    const name = 'review ' + root.dataset.delivery
    const kept = sessionStorage.getItem(name)
    if (kept && reason.value === '') reason.value = kept
    form?.addEventListener('submit', () => sessionStorage.setItem('sent ' + root.dataset.delivery, 'yes'))
    reason.addEventListener('input', () => reason.value ? sessionStorage.setItem(name, reason.value) : sessionStorage.removeItem(name))
  }

  // fetchNext brings the next delivery's pictures here while this one is looked at.
  function fetchNext() {
    if (!setup.next) return
    requestIdleCallback(async () => {
      try {
        const text = await (await fetch(setup.next)).text()
        const doc = new DOMParser().parseFromString(text, 'text/html')
        for (const i of doc.querySelectorAll('.onesee img, .real img')) new Image().src = i.getAttribute('src')
        root.dataset.fetched = 'yes'
      } catch { /* it comes when it is asked for */ }
    }, { timeout: 800 })
  }
}

// clearDrafts forgets what was sent: a form that was refused, or that met a session at its end, comes back to the same
// delivery and keeps its draft; one that was taken leads on to another page.
function clearDrafts() {
  const here = document.getElementById('one')?.dataset.delivery
  for (const name of Object.keys(sessionStorage)) {
    if (!name.startsWith('sent ')) continue
    const id = name.slice(5)
    sessionStorage.removeItem(name)
    if (id !== here) sessionStorage.removeItem('review ' + id)
  }
}

// sheet: arrows go from frame to frame, X picks, Shift and X all or none, Enter opens, A R E choose the decision for all.
function sheet() {
  const frames = [...document.querySelectorAll('.sheet .frame')]
  if (frames.length === 0) return
  const at = () => Math.max(0, frames.indexOf(document.activeElement.closest('.frame')))
  let here = 0 // the frame that was marked last
  document.querySelector('.sheet').addEventListener('focusin', () => { here = at() })
  const boxes = () => [...document.querySelectorAll('.sheet input[name=pick]:not(:disabled)')]
  const all = () => { const on = boxes().some((b) => !b.checked); for (const b of boxes()) b.checked = on }
  for (const el of document.querySelectorAll('.sheetkeys')) el.hidden = false
  document.querySelector('[data-do=all]').addEventListener('click', all)
  const columns = () => { const top = frames[0].offsetTop; const n = frames.findIndex((f) => f.offsetTop !== top); return n < 0 ? frames.length : n }
  document.addEventListener('keydown', (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || typing(e) || document.querySelector('dialog[open]')) return
    if (e.key === '?') { e.preventDefault(); document.querySelector('[data-do=keylist]').click(); return }
    const go = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: columns(), ArrowUp: -columns() }[e.key]
    const inside = document.activeElement.closest('.frame')
    if (go !== undefined && !e.target.matches('input[type=radio]')) {
      e.preventDefault()
      frames[Math.min(frames.length - 1, Math.max(0, inside ? at() + go : 0))].querySelector('.look').focus()
      return
    }
    if (e.key === 'X') { e.preventDefault(); all(); return }
    if (e.key === 'x' && inside) { e.preventDefault(); const box = inside.querySelector('input[name=pick]'); if (!box.disabled) box.checked = !box.checked; return }
    const decision = { a: 'accept', r: 'return', e: 'accept_as_is' }[e.key]
    if (!decision) return
    e.preventDefault()
    // In the bar alone: what waits above has hidden fields of the same name.
    document.querySelector(`.sheetbar input[name=decision][value=${decision}]`).checked = true
    // What needs no words leaves the keys where they are, or the next one would be typed into a note to the vendor.
    if (decision !== 'accept') document.getElementById('reason').focus()
  })
  document.addEventListener('keydown', (e) => {
    if (e.key === 'Enter' && (e.ctrlKey || e.metaKey) && !document.querySelector('dialog[open]')) { e.preventDefault(); document.querySelector('.sheetbar .act').click() }
    if (e.key === 'Escape' && e.target.id === 'reason') frames[here].querySelector('.look').focus()
  })
}

clearDrafts()
keyList()
if (document.getElementById('one')) one()
else sheet()
