// The panel: the page's own controls wired to the stage. Every control is a form control that the page rendered.
import { BufferGeometry, BufferAttribute, Line, LineBasicMaterial, Vector3 } from 'three'
import { linkOf } from './link.js'
import { Pins } from './pins.js'
import { Marks } from './marks.js'
import { Faults } from './faults.js'
import { markChanged } from './changed.js'

export class Panel {
  constructor(root, setup, parts) {
    Object.assign(this, parts)
    this.root = root
    this.setup = setup
    this.marks = new Marks(root.querySelector('.marks'), this.stage)
    this.faults = new Faults(this.stage, this.models)
    this.place = -1 // of the findings' places, the one that is shown
    this.points = []
    this.pins = new Pins(this.stage, this.models, this.marks, setup)
    this.revision = setup.revisions[setup.revisions.length - 1]
    this.skin = 'textured'
    this.lines = []
    this.number = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 2 })
  }

  async begin(link) {
    const { root } = this
    const skins = root.querySelectorAll('input[name=skin]')
    for (const i of skins) i.addEventListener('change', () => this.choose(i.value))
    for (const i of root.querySelectorAll('input[name=lines]')) {
      i.checked = link.lines.includes(i.value)
      i.addEventListener('change', () => this.chooseLines())
    }
    const slider = root.querySelector('input[name=revision]')
    if (slider) {
      const at = this.setup.revisions.findIndex((r) => r.number === link.revision)
      if (at >= 0) this.revision = this.setup.revisions[at]
      slider.value = this.setup.revisions.indexOf(this.revision)
      slider.addEventListener('input', () => this.chooseRevision(Number(slider.value)))
    }
    root.querySelector('[data-do=pin]').addEventListener('click', (e) => this.pinMode(e.currentTarget.getAttribute('aria-pressed') !== 'true'))
    root.querySelector('[data-do=unpin]').addEventListener('click', () => this.pinMode(false))
    for (const b of root.querySelectorAll('[data-pin]')) b.addEventListener('click', () => this.goToPin(Number(b.dataset.pin)))
    root.querySelector('[data-do=measure]').addEventListener('click', (e) => this.measureMode(e.currentTarget))
    root.querySelector('[data-do=link]').addEventListener('click', (e) => this.copyLink(e.currentTarget))
    root.querySelector('[data-do=reset]').addEventListener('click', () => { this.stage.fit(this.models.box()); this.stage.settled() })
    for (const b of root.querySelectorAll('[data-place]')) b.addEventListener('click', () => this.goTo(Number(b.dataset.place)))
    root.querySelector('[data-do=earlier]')?.addEventListener('click', () => this.step(-1))
    root.querySelector('[data-do=later]')?.addEventListener('click', () => this.step(1))
    root.querySelector('[data-do=light]').addEventListener('click', (e) => this.lightMode(e.currentTarget))
    const canvas = this.stage.canvas
    canvas.addEventListener('pointermove', (e) => this.hover(e))
    canvas.addEventListener('pointerleave', () => this.tell(null))
    canvas.addEventListener('pointerdown', (e) => { this.down = [e.clientX, e.clientY] })
    canvas.addEventListener('pointerup', (e) => this.click(e))
    canvas.addEventListener('keydown', (e) => this.key(e))
    this.skin = [...skins].some((i) => i.value === link.skin && !i.disabled) ? link.skin : 'textured'
    for (const i of skins) i.checked = i.value === this.skin
    this.lines = link.lines
    await this.show()
    // What the probe reads comes while one looks.
    if (!this.models.now.deviation && this.revision.deviation) this.models.show(this.revision, [...this.kinds(), 'deviation'], null, () => this.layers.apply()).catch(() => {})
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey) return
    const { clientWidth: w, clientHeight: h } = this.stage.canvas
    const does = { Enter: () => this.pick(w / 2, h / 2), m: () => this.pick(w / 2, h / 2), n: () => this.step(1), p: () => this.step(-1) }[e.key]
    if (!does) return
    e.preventDefault()
    does()
  }

  kinds() {
    const kinds = ['game']
    if (this.skin === 'deviation' || this.models.now.deviation) kinds.push('deviation')
    if (this.lines.includes('sculpt') || this.lines.includes('outlines')) kinds.push('sculpt')
    return kinds
  }

  async show() {
    const progress = (got, all) => this.say(this.setup.words.loading + (all ? ' ' + Math.round(100 * got / all) + ' %' : ''))
    this.layers.skin = this.skin
    this.layers.on = new Set(this.lines)
    this.outlines.on = this.lines.includes('outlines')
    try {
      // What is there is seen at once; the rest joins it.
      const whole = await this.models.show(this.revision, this.kinds(), progress, () => { this.layers.apply(); this.arrived?.() })
      if (!whole) return
    } catch (err) {
      this.say(this.setup.words.not_loaded)
      throw err
    }
    this.say('')
    if (this.skin === 'changed') { await this.compare(); this.layers.apply() }
    this.pins.show(this.revision, this.root)
    this.legend()
    const name = this.root.querySelector('.revision')
    if (name) name.textContent = this.revision.title
  }

  // compare marks what has no counterpart in the delivery before the one that is shown.
  async compare() {
    const before = this.setup.revisions[this.setup.revisions.indexOf(this.revision) - 1]
    if (!before) { this.say(this.setup.words.unchanged); return }
    if (this.models.meshes('game').every((m) => m.userData.changed)) { this.say(this.revision.changed); return }
    const old = []
    ;(await this.models.load(before.game)).traverse((o) => { if (o.isMesh && !o.userData.twin) old.push(o) })
    this.revision.changed = markChanged(this.models.meshes('game'), old) > 0 ? this.setup.words.changed : this.setup.words.unchanged
    this.say(this.revision.changed)
  }

  // newest shows the delivery that the findings and new notes are about.
  async newest() {
    const last = this.setup.revisions.length - 1
    if (this.revision === this.setup.revisions[last]) return
    this.root.querySelector('input[name=revision]').value = last
    this.revision = this.setup.revisions[last]
    await this.show()
  }

  // pinMode waits for the place of a note, or leaves it.
  async pinMode(on) {
    if (on) await this.newest()
    const form = this.root.querySelector('.pinform')
    this.root.querySelector('[data-do=pin]').setAttribute('aria-pressed', String(on))
    this.pinning = on
    form.hidden = true
    form.elements.pin.value = ''
    this.clearMarks()
    this.say(on ? this.setup.words.pin : '')
  }

  // pinAt takes a place for the note that is to be written. Only the newest delivery takes notes.
  pinAt(point) {
    const form = this.root.querySelector('.pinform')
    const normal = this.pins.nearest(point).normal
    if (normal.dot(this.stage.camera.position.clone().sub(point)) < 0) normal.negate() // of the side that was looked at
    form.elements.pin.value = JSON.stringify({ position_mm: point.toArray().map((v) => Math.round(v * 1e6) / 1e3), normal: normal.toArray().map((v) => Math.round(v * 1e3) / 1e3) })
    this.clearMarks()
    this.marks.add(point, '✎')
    form.hidden = false
    this.say(this.setup.words.pinned)
    this.stage.draw()
    form.elements.text.focus()
  }

  goToPin(number) {
    const pin = this.pins.pins.find((p) => p.number === number)
    if (!pin?.point) return
    this.say(pin.text)
    this.stage.look(pin.point)
    this.stage.canvas.focus()
  }

  choose(skin) { this.skin = skin; this.show().then(() => this.stage.settled(), () => {}) }

  chooseLines() {
    this.lines = [...this.root.querySelectorAll('input[name=lines]:checked')].map((i) => i.value)
    this.show().then(() => this.stage.settled(), () => {})
  }

  chooseRevision(i) {
    this.revision = this.setup.revisions[i]
    if (this.pinning) this.pinMode(false) // a note is of the newest
    this.clearMarks()
    this.show().then(() => this.stage.settled(), () => {})
  }

  // legend shows the deviation's scale with its ends in millimetres.
  legend() {
    const box = this.root.querySelector('.legend')
    const own = this.models.meshes('deviation')[0]?.userData.own.userData
    box.hidden = this.skin !== 'deviation' || !own?.scale
    if (box.hidden) return
    const ctx = box.querySelector('canvas').getContext('2d')
    const fill = ctx.createLinearGradient(0, 0, ctx.canvas.width, 0)
    own.scale.forEach((c, i) => fill.addColorStop(i / (own.scale.length - 1), c))
    ctx.fillStyle = fill
    ctx.fillRect(0, 0, ctx.canvas.width, ctx.canvas.height)
    const mm = (v) => this.number.format(v) + '\u00a0mm'
    const [low, high] = box.querySelectorAll('span')
    low.textContent = '−' + mm(own.range_mm)
    high.textContent = '+' + mm(own.range_mm)
  }

  // hover reads what is under the pointer; not while it drags, when each reading would draw the prop once more.
  hover(e) {
    if (this.waiting || e.buttons !== 0) return
    this.waiting = true
    const { left, top } = this.stage.canvas.getBoundingClientRect()
    const x = e.clientX - left, y = e.clientY - top
    requestAnimationFrame(() => {
      this.waiting = false
      this.tell(this.probe.at(x, y))
    })
  }

  tell(hit) {
    const out = this.root.querySelector('.reading')
    if (!hit) { out.textContent = ''; return '' }
    const mm = (v) => this.number.format(v)
    const w = this.setup.words
    const where = hit.point.toArray().map((v) => mm(v * 1000)).join('  ')
    let text = where + ' mm'
    if (hit.heightMM !== null) text += ' · ' + (hit.heightMM >= 0 ? w.outside : w.inside).replace('{0}', mm(Math.abs(hit.heightMM)) + '\u00a0mm')
    out.textContent = text
    return text
  }

  measureMode(button) {
    const on = button.getAttribute('aria-pressed') !== 'true'
    button.setAttribute('aria-pressed', String(on))
    this.measuring = on
    this.clearMarks()
    if (on) this.say(this.setup.words.measure)
    else this.say('')
  }

  click(e) {
    if (!this.down || Math.hypot(e.clientX - this.down[0], e.clientY - this.down[1]) > 4) return
    if (!this.measuring && !this.pinning && e.pointerType === 'mouse') return // a mouse reads by pointing; a finger by a tap
    const { left, top } = this.stage.canvas.getBoundingClientRect()
    this.pick(e.clientX - left, e.clientY - top)
  }

  pick(x, y) {
    const hit = this.probe.at(x, y)
    if (!hit) return
    const told = this.tell(hit)
    if (this.pinning) { this.pinAt(hit.point); return }
    if (!this.measuring) { this.say(told); return }
    if (this.points.length === 2) this.clearMarks()
    this.points.push(hit.point)
    this.marks.add(hit.point, 'AB'[this.points.length - 1]) // letters: numbers are places of findings
    if (this.points.length < 2) { this.stage.draw(); return }
    const [a, b] = this.points
    const g = new BufferGeometry()
    g.setAttribute('position', new BufferAttribute(new Float32Array([...a.toArray(), ...b.toArray()]), 3))
    this.line = new Line(g, new LineBasicMaterial({ color: 0x111111, depthTest: false }))
    this.line.renderOrder = 2
    this.stage.scene.add(this.line)
    this.marks.add(a.clone().add(b).multiplyScalar(0.5), this.number.format(a.distanceTo(b) * 1000) + '\u00a0mm', { className: 'length' })
    this.say(this.setup.words.distance.replace('{0}', this.number.format(a.distanceTo(b) * 1000) + '\u00a0mm'))
    this.stage.draw()
  }

  clearMarks() {
    this.marks.clear()
    this.faults.clear()
    this.points = []
    if (this.line) this.stage.scene.remove(this.line)
    this.line = null
    this.stage.draw()
  }

  // goTo shows one of the places that findings name, and which of how many it is.
  async goTo(i) {
    const place = this.setup.places[i]
    this.place = i
    await this.newest()
    this.clearMarks()
    const button = this.root.querySelector(`[data-place="${i}"]`)
    for (const b of this.root.querySelectorAll('[data-place][aria-current]')) b.removeAttribute('aria-current')
    button.setAttribute('aria-current', 'true')
    const at = this.faults.show(place)
    const which = this.setup.words.place_of.replace('{0}', i + 1).replace('{1}', this.setup.places.length)
    const says = button.querySelector('.says').textContent
    if (!at) { this.say(`${which} ${says} ${this.setup.words.nowhere}`); return }
    this.marks.add(at.point, String(place.number))
    this.say(`${which} ${says}`)
    this.stage.look(at.point, at.normal, at.size)
    this.stage.canvas.focus()
  }

  // step goes on to the next of them, or back to the one before, round and round.
  step(by) {
    const n = this.setup.places?.length ?? 0
    if (n === 0) return
    this.goTo((this.place < 0 ? (by > 0 ? 0 : n - 1) : this.place + by + n) % n)
    // Its line comes into the list, and the page stays where it is.
    const line = this.root.querySelector(`[data-place="${this.place}"]`).parentElement, list = line.parentElement
    const top = line.getBoundingClientRect().top - list.getBoundingClientRect().top
    if (top < 0 || top + line.offsetHeight > list.clientHeight) list.scrollTop += top
  }

  lightMode(button) {
    this.stage.lighting = !this.stage.lighting
    button.setAttribute('aria-pressed', String(this.stage.lighting))
    this.say(this.stage.lighting ? this.setup.words.light : '')
  }

  async copyLink(button) {
    const address = location.origin + location.pathname + location.search + linkOf(this.stage, this)
    try {
      await navigator.clipboard.writeText(address)
      this.say(this.setup.words.copied)
    } catch {
      history.replaceState(null, '', address)
      this.say(this.setup.words.in_address)
    }
    button.focus()
  }
}
