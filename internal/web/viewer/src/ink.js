// Drawing on the picture: strokes in ten-thousandths of it, kept in a field of the form.
const whole = 10000

export class Ink {
  constructor(picture, canvas, field) {
    Object.assign(this, { picture, canvas, field, strokes: [], on: false, stroke: null })
    if (field.value) { try { this.strokes = JSON.parse(field.value) } catch { this.strokes = [] } }
    canvas.addEventListener('pointerdown', (e) => this.begin(e))
    canvas.addEventListener('pointermove', (e) => this.go(e))
    for (const end of ['pointerup', 'pointercancel']) canvas.addEventListener(end, () => this.end())
    new ResizeObserver(() => this.draw()).observe(picture)
    if (this.strokes.length) { canvas.hidden = false; this.draw() }
  }

  toggle() {
    this.on = !this.on
    this.canvas.hidden = !this.on && this.strokes.length === 0
    this.canvas.classList.toggle('drawing', this.on)
    this.canvas.closest('figure').querySelector('.inkacts').hidden = !this.on
    this.draw()
  }

  // wipe takes the last stroke away, or all of them.
  wipe(all) { if (all) this.strokes = []; else this.strokes.pop(); this.keep() }

  fade(away) { this.canvas.style.visibility = away ? 'hidden' : '' }

  // box is where the picture itself stands: it keeps its shape inside its element.
  box() {
    const { clientWidth: w, clientHeight: h, naturalWidth: nw, naturalHeight: nh } = this.picture
    const s = Math.min(w / (nw || 1), h / (nh || 1))
    return { x: (w - nw * s) / 2, y: (h - nh * s) / 2, w: nw * s, h: nh * s }
  }

  at(e) {
    const r = this.picture.getBoundingClientRect(), b = this.box()
    const clamp = (v) => Math.round(Math.min(whole, Math.max(0, v * whole)))
    return [clamp((e.clientX - r.left - b.x) / b.w), clamp((e.clientY - r.top - b.y) / b.h)]
  }

  begin(e) { if (!this.on) return; e.preventDefault(); this.canvas.setPointerCapture?.(e.pointerId); this.stroke = this.at(e); this.strokes.push(this.stroke) }

  go(e) {
    if (!this.stroke) return
    const [x, y] = this.at(e), n = this.stroke.length
    // Points nearer than a two-hundredth of the picture say nothing new.
    if (Math.hypot(x - this.stroke[n - 2], y - this.stroke[n - 1]) < whole / 200 || n >= 1998) return
    this.stroke.push(x, y)
    this.draw()
  }

  end() { if (this.stroke) { this.stroke = null; this.keep() } }

  keep() { this.field.value = this.strokes.length ? JSON.stringify(this.strokes) : ''; this.draw() }

  draw() {
    const { canvas } = this, b = this.box(), dpr = window.devicePixelRatio || 1
    canvas.width = this.picture.clientWidth * dpr
    canvas.height = this.picture.clientHeight * dpr
    const c = canvas.getContext('2d')
    if (!c) return
    c.scale(dpr, dpr)
    c.lineCap = c.lineJoin = 'round'
    for (const [colour, width] of [['#fffdf9', 6], ['#b3261e', 3]]) { // a pale edge, so that it shows on dark and on red
      c.strokeStyle = colour
      c.lineWidth = width
      for (const s of this.strokes) {
        c.beginPath()
        c.moveTo(b.x + s[0] / whole * b.w, b.y + s[1] / whole * b.h)
        for (let i = 2; i < s.length; i += 2) c.lineTo(b.x + s[i] / whole * b.w, b.y + s[i + 1] / whole * b.h)
        if (s.length === 2) c.lineTo(b.x + s[0] / whole * b.w + 0.1, b.y + s[1] / whole * b.h)
        c.stroke()
      }
    }
  }
}
