// The 3D view of one delivery: begins here. The page works without it; it takes the place of the still once the first
// model has come.
import { Stage } from './stage.js'
import { Models } from './models.js'
import { Layers } from './layers.js'
import { Outlines } from './outlines.js'
import { Probe } from './probe.js'
import { Panel } from './panel.js'
import { readLink, writeLink } from './link.js'

const root = document.getElementById('view')
const setup = JSON.parse(document.getElementById('view-data').textContent)

function start() {
  let stage
  try {
    stage = new Stage(root.querySelector('.canvas'))
  } catch {
    root.classList.add('flat')
    say(setup.words.no_webgl)
    return
  }
  const models = new Models(stage, setup)
  const layers = new Layers(stage, models)
  const outlines = new Outlines(stage, models)
  const probe = new Probe(stage, models)
  const panel = new Panel(root, setup, { stage, models, layers, outlines, probe, say })
  window.look = { stage, models, layers, outlines, probe, panel } // for tests and the curious
  stage.afterDraw = () => { outlines.draw(); panel.marks.place() }
  stage.settled = () => writeLink(stage, panel)
  const link = readLink()
  panel.arrived = () => {
    panel.arrived = null
    root.classList.add('live')
    stage.fit(models.box(), link.camera)
  }
  panel.begin(link).then(() => say(''), (err) => say(setup.words.not_loaded + ' ' + err.message))
}

function say(text) {
  const line = root.querySelector('.state')
  line.textContent = text
  line.hidden = text === ''
}

start()
