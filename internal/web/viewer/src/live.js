// live keeps an eye on inspections that run: the service's stream of events says when something happened, the page then asks
// how far it is. Where there is no stream it asks every few seconds. When the result is there the page comes anew,
// unless something has been typed into it, which a link keeps.
const places = [...document.querySelectorAll('[data-live]')]
const everyMS = 5000 // between two looks without a stream
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
    if (line.textContent !== text) line.textContent = text
  }
}

function finish(place) {
  const typed = [...document.querySelectorAll('main textarea, main input[type=text], main input:not([type])')].some((f) => f.value !== f.defaultValue)
  if (!typed) { location.reload(); return }
  const link = place.querySelector('[data-live-done]')
  link.hidden = false
  stop()
}

let stream
function listen() {
  if (!('EventSource' in window)) return
  stream = new EventSource('/v1/events')
  stream.onopen = () => { streaming = true }
  stream.onerror = () => { streaming = false }
  const heard = () => { clearTimeout(soon); soon = setTimeout(look, settleMS) }
  stream.onmessage = heard
  for (const kind of ['fact', 'head', 'heads', 'progress']) stream.addEventListener(kind, heard)
}

function stop() {
  clearInterval(timer)
  stream?.close()
}

const timer = setInterval(() => { if (!streaming) look() }, everyMS)
document.addEventListener('visibilitychange', look)
window.addEventListener('pagehide', stop)
if (places.length > 0) { listen(); look() } else stop()
