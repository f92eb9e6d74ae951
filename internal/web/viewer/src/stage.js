// The stage: renderer, camera, light and the ways to move. It draws when something has changed and rests otherwise.
import { WebGLRenderer, PerspectiveCamera, Scene, DirectionalLight, Color, Vector3, Box3, Sphere } from 'three'
import { OrbitControls } from 'three/addons/controls/OrbitControls.js'
import { sky } from './light.js'

// The lens of the stills: 24 mm of film height behind 85 mm.
const fovDeg = 2 * Math.atan(12 / 85) * 180 / Math.PI
const front = new Vector3(0.62, 0.42, 1)
const step = { turn: Math.PI / 24, dolly: 1.15, pan: 0.08 }

// What is drawn when: the seen picture, and by themselves the game mesh, the sculpt and the measured surface, which masks and
// the probe draw whether they are seen or not. Numbers of three.js layers.
export const layer = { seen: 0, game: 1, sculpt: 2, deviation: 3 }

// While the view moves, a frame that takes longer than this on the average is drawn in fewer pixels, down to half in each
// direction; at rest it is drawn again in all of them. 60 frames a second are 16.7 ms; one missed now and then is none missed.
const pace = { slowMS: 22, restMS: 220, least: 0.5, step: 0.8, weigh: 0.15 }

const offset = new Vector3(), across = new Vector3(), upward = new Vector3()

export class Stage {
  constructor(canvas) {
    this.canvas = canvas
    this.renderer = new WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true })
    this.sharp = Math.min(window.devicePixelRatio, 2)
    this.ratio = this.sharp
    this.frames = 0
    this.lastMS = 0
    this.meanMS = 0
    this.doneMS = 0
    this.moving = false
    this.renderer.setPixelRatio(this.sharp)
    this.renderer.autoClear = false
    this.scene = new Scene()
    this.camera = new PerspectiveCamera(fovDeg, 1, 0.01, 100)
    this.scene.add(this.camera)
    this.scene.add(sky())
    const key = new DirectionalLight(0xffffff, 2.4)
    key.position.set(-0.6, 0.9, 0.7) // hangs on the camera, so that no side is ever dark
    this.camera.add(key, key.target)
    this.light = key
    this.controls = new OrbitControls(this.camera, canvas)
    this.controls.enableDamping = false
    this.controls.addEventListener('change', () => this.draw())
    this.controls.addEventListener('end', () => this.settled?.())
    canvas.addEventListener('keydown', (e) => this.key(e))
    canvas.addEventListener('webglcontextrestored', () => this.draw())
    this.dragLight(canvas)
    this.frame = this.frame.bind(this)
    this.rest = this.rest.bind(this)
    new ResizeObserver(() => this.resize()).observe(canvas.parentElement)
    this.paper()
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.paper())
  }

  // dragLight turns the light by dragging with Shift, or without it while lighting is on, before the camera's own dragging sees it.
  dragLight(canvas) {
    let from = null
    this.lighting = false
    canvas.parentElement.addEventListener('pointerdown', (e) => {
      if (!e.shiftKey && !this.lighting || e.target !== canvas) return
      e.stopPropagation()
      canvas.setPointerCapture(e.pointerId)
      from = [e.clientX, e.clientY]
    }, true)
    canvas.addEventListener('pointermove', (e) => {
      if (!from) return
      this.turnLight((e.clientX - from[0]) / 120, (e.clientY - from[1]) / 120)
      from = [e.clientX, e.clientY]
    })
    for (const end of ['pointerup', 'pointercancel']) canvas.addEventListener(end, () => { from = null })
  }

  // paper takes the page's own background, so that the view sits in it in light and dark.
  paper() {
    const style = getComputedStyle(this.canvas.parentElement)
    this.scene.background = new Color(style.backgroundColor)
    this.draw()
  }

  resize() {
    const { clientWidth: w, clientHeight: h } = this.canvas.parentElement
    if (w === 0 || h === 0) return
    this.renderer.setSize(w, h, false)
    this.camera.aspect = w / h
    this.camera.updateProjectionMatrix()
    this.draw()
  }

  // fit puts a box into the picture from the front three-quarter, or takes up a camera from a link.
  fit(box, camera) {
    if (box.isEmpty()) return
    const ball = box.getBoundingSphere(new Sphere())
    this.ball = ball
    const narrow = Math.min(1, this.camera.aspect)
    const away = ball.radius / Math.sin(fovDeg * Math.PI / 360) / narrow
    this.camera.near = ball.radius / 100
    this.camera.far = away + 20 * ball.radius
    this.camera.updateProjectionMatrix()
    this.controls.minDistance = ball.radius / 20
    this.controls.maxDistance = away * 4
    if (camera) {
      this.camera.position.fromArray(camera, 0)
      this.controls.target.fromArray(camera, 3)
    } else {
      this.controls.target.copy(ball.center)
      this.camera.position.copy(ball.center).addScaledVector(front.clone().normalize(), away)
    }
    this.controls.update()
    this.draw()
  }

  // look flies to a place in metres, coming from the side that it faces, as near as its size in metres asks for. A point without a
  // size is shown with most of the prop around it.
  look(point, normal = null, size = 0) {
    const side = normal ? normal.clone() : point.clone().sub(this.ball.center)
    if (side.lengthSq() < 1e-12) side.copy(front)
    const away = size > 0 ? Math.min(2.6 * this.ball.radius, Math.max(1.4 * this.ball.radius, 12 * size)) : 4 * this.ball.radius
    this.controls.target.copy(point)
    this.camera.position.copy(point).addScaledVector(side.normalize().add(new Vector3(0, 0.15, 0)).normalize(), away)
    this.controls.update()
    this.settled?.()
  }

  key(e) {
    const arrow = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key]
    if (e.ctrlKey && arrow && !e.shiftKey && !e.altKey && !e.metaKey) { e.preventDefault(); this.pan(arrow[0] * step.pan, arrow[1] * step.pan); this.settled?.(); return }
    if (e.ctrlKey || e.metaKey || e.altKey) return
    const lit = e.shiftKey && arrow
    if (lit) { e.preventDefault(); this.turnLight(lit[0] * step.turn, lit[1] * step.turn); return }
    const move = {
      ArrowLeft: () => this.turn(-step.turn, 0), ArrowRight: () => this.turn(step.turn, 0),
      ArrowUp: () => this.turn(0, -step.turn), ArrowDown: () => this.turn(0, step.turn),
      '+': () => this.dolly(1 / step.dolly), '=': () => this.dolly(1 / step.dolly), '-': () => this.dolly(step.dolly),
      Home: () => this.fit(new Box3().setFromCenterAndSize(this.ball.center, new Vector3(1, 1, 1).multiplyScalar(this.ball.radius * 2 / Math.sqrt(3)))),
    }[e.key]
    if (!move) return
    e.preventDefault()
    move()
    this.settled?.()
  }

  turn(around, up) {
    offset.copy(this.camera.position).sub(this.controls.target)
    const r = offset.length()
    const phi = Math.min(Math.PI - 0.02, Math.max(0.02, Math.acos(offset.y / r) + up))
    const theta = Math.atan2(offset.x, offset.z) + around
    offset.set(Math.sin(phi) * Math.sin(theta), Math.cos(phi), Math.sin(phi) * Math.cos(theta)).multiplyScalar(r)
    this.camera.position.copy(this.controls.target).add(offset)
    this.controls.update()
  }

  // pan moves the sight by shares of the distance to what is looked at.
  pan(right, down) {
    const r = offset.copy(this.camera.position).sub(this.controls.target).length()
    this.camera.matrix.extractBasis(across, upward, offset)
    across.multiplyScalar(right * r).addScaledVector(upward, -down * r)
    this.camera.position.add(across)
    this.controls.target.add(across)
    this.controls.update()
  }

  // turnLight moves the light around the prop by these angles, as it hangs on the camera.
  turnLight(around, up) {
    const p = this.light.position, r = p.length()
    const phi = Math.min(Math.PI - 0.1, Math.max(0.1, Math.acos(p.y / r) + up)), theta = Math.atan2(p.x, p.z) + around
    p.set(Math.sin(phi) * Math.sin(theta), Math.cos(phi), Math.sin(phi) * Math.cos(theta)).multiplyScalar(r)
    this.draw()
  }

  dolly(by) {
    const offset = this.camera.position.clone().sub(this.controls.target).multiplyScalar(by)
    this.camera.position.copy(this.controls.target).add(offset)
    this.controls.update()
  }

  // draw asks for a frame; however often it is asked, there is one.
  draw() {
    if (this.asked) return
    this.asked = true
    this.moving = performance.now() - this.doneMS < pace.restMS
    requestAnimationFrame(this.frame)
  }

  frame(at) {
    this.asked = false
    this.frames++
    this.keepPace(at)
    this.renderer.clear()
    this.renderer.render(this.scene, this.camera)
    this.afterDraw?.()
    this.doneMS = performance.now()
  }

  // keepPace draws fewer pixels while frames that follow at once on each other come too slowly, and all of them again at rest.
  keepPace(at) {
    const since = at - this.lastMS
    this.lastMS = at
    if (!this.moving) { this.meanMS = 0; return }
    this.meanMS = this.meanMS ? this.meanMS + pace.weigh * (since - this.meanMS) : since
    if (this.meanMS > pace.slowMS && this.ratio > pace.least * this.sharp) {
      this.setRatio(Math.max(pace.least * this.sharp, this.ratio * pace.step))
      this.meanMS = 0 // the next frames tell anew
    }
    if (this.ratio < this.sharp && !this.resting) this.resting = setTimeout(this.rest, pace.restMS)
  }

  rest() {
    this.resting = 0
    if (this.asked || performance.now() - this.doneMS < pace.restMS) { this.resting = setTimeout(this.rest, pace.restMS); return }
    this.setRatio(this.sharp)
    this.moving = false
    this.draw()
  }

  setRatio(ratio) {
    this.ratio = ratio
    this.renderer.setPixelRatio(ratio)
  }
}
