// The turntable of a review: the prop turns by itself, and keys show it in other ways while the camera stays where it is.
import { Stage } from './stage.js'
import { Models } from './models.js'
import { Layers } from './layers.js'
import { Pins } from './pins.js'
import { Marks } from './marks.js'
import { Faults } from './faults.js'
import { markChanged } from './changed.js'

// One turn in twelve seconds: slow enough to look, fast enough to see all sides before a decision.
const turnRadPerMS = 2 * Math.PI / 12000

// begin shows the newest revision and starts to turn it. It answers with the ways of looking; it throws where there is no WebGL.
export async function begin(root, setup, say) {
  const stage = new Stage(root.querySelector('.canvas'))
  const models = new Models(stage, setup)
  const layers = new Layers(stage, models)
  const marks = new Marks(root.querySelector('.marks'), stage)
  const faults = new Faults(stage, models)
  const pins = new Pins(stage, models, marks, setup)
  const now = setup.revisions[setup.revisions.length - 1]
  const before = setup.revisions[setup.revisions.length - 2]
  const asked = { last: false, sculpt: false, changed: false, clay: false }
  let turning = false, since = 0

  const show = async () => {
    const revision = asked.last && before ? before : now
    const skin = () => {
      layers.skin = asked.changed && revision === now ? 'changed' : asked.clay ? 'clay' : 'textured'
      layers.on = new Set(asked.sculpt ? ['sculpt'] : [])
      layers.apply()
    }
    if (!await models.show(revision, asked.sculpt ? ['game', 'sculpt'] : ['game'], null, skin)) return
    if (asked.changed && before && revision === now && !now.marked) {
      const old = await models.load(before.game)
      const meshes = []
      old.traverse((o) => { if (o.isMesh && !o.userData.twin) meshes.push(o) })
      now.marked = markChanged(models.meshes('game'), meshes) + 1
    }
    if (asked.changed && revision === now) say(now.marked > 1 ? setup.words.changed : setup.words.unchanged)
    else if (asked.last) say(setup.words.before)
    else say('')
    skin()
    if (revision !== now) faults.clear()
    pins.show(revision)
  }
  stage.afterDraw = () => marks.place()

  // Frames are counted, so that a test can ask how many there were.
  const look = { frames: 0, stage, models }
  const step = (at) => {
    if (!turning) return
    if (since) stage.turn(turnRadPerMS * Math.min(at - since, 100), 0)
    since = at
    look.frames++
    requestAnimationFrame(step)
  }
  look.turn = (on) => {
    if (on === turning) return
    turning = on
    since = 0
    if (on) requestAnimationFrame(step)
  }
  look.turning = () => turning
  look.set = (what, on) => { if (asked[what] === on) return Promise.resolve(); asked[what] = on; return show() }
  look.is = (what) => asked[what]
  look.fly = (place) => {
    look.turn(false)
    marks.clear()
    const at = faults.show(place)
    if (!at) return
    marks.add(at.point, String(place.number))
    stage.look(at.point, at.normal, at.size)
  }
  look.light = (on) => { stage.lighting = on }
  look.lighting = () => stage.lighting
  look.camera = () => [...stage.camera.position.toArray(), ...stage.controls.target.toArray()]
  stage.canvas.addEventListener('pointerdown', () => look.turn(false))
  stage.canvas.addEventListener('keydown', (e) => { if (e.key.startsWith('Arrow')) look.turn(false) })
  document.addEventListener('visibilitychange', () => { if (document.hidden) since = 0 })

  await show()
  root.classList.add('live')
  stage.fit(models.box())
  stage.draw()
  if (!matchMedia('(prefers-reduced-motion: reduce)').matches) look.turn(true)
  if (before) models.load(before.game).catch(() => {}) // so that the flick is at once
  return look
}
