// live keeps an eye on inspections that run: the service's stream of events says when something happened, the page then asks
// how far it is. Where there is no stream it asks every few seconds. When the result is there the page comes anew,
// unless something has been typed into it, which a link keeps.
const places = [...document.querySelectorAll('[data-live]')]
const everyMS = 5000 // between two looks without a stream
const calm = 3 // with a stream, only each third look is made
const settleMS = 300 // after an event: several come at once
let streaming = false
let soon = 0

async function look() {
  clearTimeout(soon)
  if (document.hidden) return
  for (const place of places) {
    let answer
    try {
      answer = await fetch(place.dataset.live, { headers: { Accept: 'application/json' } })
    } catch {
      continue // out of reach; the next look tells
    }
    if (!answer.ok) continue
    const { done, text } = await answer.json()
    if (done) { finish(place); return }
    const line = place.querySelector('[data-live-text]')
    if (!streaming || place.querySelector('progress').hidden) { if (line.textContent !== text) line.textContent = text }
  }
}

function finish(place) {
  const typed = [...document.querySelectorAll('main textarea, main input[type=text], main input:not([type])')].some((f) => f.value !== f.defaultValue)
  if (!typed) { location.reload(); return }
  const link = place.querySelector('[data-live-done]')
  link.hidden = false
  stop()
}

// What is told when an inspection ends or begins, by any of its outcomes.
const told = ['inspection.passed', 'inspection.failed', 'inspection.stuck', 'inspection.requested', 'delivery.sealed', 'batch.sealed']

let stream
function listen() {
  if (!('EventSource' in window)) return
  stream = new EventSource('/v1/events')
  stream.onopen = () => { streaming = true }
  stream.onerror = () => { streaming = false } // it comes back by itself, or the looks go on
  const heard = () => { clearTimeout(soon); soon = setTimeout(look, settleMS) }
  stream.onmessage = heard
  for (const kind of told) stream.addEventListener(kind, heard)
  stream.addEventListener('inspection.progress', ({ data }) => {
    const p = JSON.parse(data)
    for (const place of places) if (place.dataset.delivery === p.delivery_id) move(place, p, heard)
  })
}

// move shows how far an inspection is: the stage in words, the share as a bar.
function move(place, p, heard) {
  if (p.stage === 'done') { heard(); return }
  const bar = place.querySelector('progress')
  bar.hidden = false
  bar.value = p.done
  const words = place.dataset[p.stage]
  const line = place.querySelector('[data-live-text]')
  if (words && line.textContent !== words) line.textContent = words
}

function stop() {
  clearInterval(timer)
  stream?.close()
}

let ticks = 0
const timer = setInterval(() => { if (!streaming || ++ticks % calm === 0) look() }, everyMS)
document.addEventListener('visibilitychange', look)
window.addEventListener('pagehide', stop)
if (places.length > 0) { listen(); look() } else stop()
