// Both outlines over each other: game mesh and sculpt are drawn as masks, and a pass over the screen draws each mask's edge.
import { WebGLRenderTarget, MeshBasicMaterial, ShaderMaterial, Mesh, PlaneGeometry, Scene, OrthographicCamera, Vector2, Color } from 'three'

import { layer } from './stage.js'

const white = new MeshBasicMaterial({ color: 0xffffff, side: 2 })

export class Outlines {
  constructor(stage, models) {
    this.stage = stage
    this.models = models
    this.on = false
    this.targets = [new WebGLRenderTarget(1, 1), new WebGLRenderTarget(1, 1)]
    this.pass = new ShaderMaterial({
      transparent: true, depthTest: false, depthWrite: false,
      uniforms: { game: { value: this.targets[0].texture }, sculpt: { value: this.targets[1].texture }, texel: { value: new Vector2() } },
      vertexShader: 'varying vec2 at; void main() { at = uv; gl_Position = vec4(position.xy, 0.0, 1.0); }',
      // The game mesh's outline is a full blue line, the sculpt's an orange one in dashes: told apart without colour.
      fragmentShader: `uniform sampler2D game, sculpt; uniform vec2 texel; varying vec2 at;
        float edge(sampler2D m) {
          float here = texture2D(m, at).r, least = here, most = here;
          for (int y = -1; y <= 1; y++) for (int x = -1; x <= 1; x++) {
            float v = texture2D(m, at + vec2(x, y) * texel).r; least = min(least, v); most = max(most, v);
          }
          return most - least;
        }
        void main() {
          float g = edge(game), s = edge(sculpt);
          vec2 px = at / texel;
          if (mod(px.x + px.y, 12.0) > 7.0) s = 0.0;
          if (max(g, s) < 0.5) discard;
          gl_FragColor = vec4(s > 0.5 ? vec3(0.80, 0.33, 0.05) : vec3(0.08, 0.33, 0.66), 1.0);
        }`,
    })
    this.screen = new Scene()
    this.screen.add(new Mesh(new PlaneGeometry(2, 2), this.pass))
    this.flat = new OrthographicCamera(-1, 1, 1, -1, 0, 1)
    this.size = new Vector2()
    this.black = new Color(0)
  }

  draw() {
    if (!this.on) return
    const { renderer, camera, scene } = this.stage
    const kept = scene.background
    renderer.getDrawingBufferSize(this.size)
    scene.overrideMaterial = white
    scene.background = this.black
    for (let i = 0; i < this.targets.length; i++) {
      this.targets[i].setSize(this.size.x, this.size.y)
      camera.layers.set(i === 0 ? layer.game : layer.sculpt)
      renderer.setRenderTarget(this.targets[i])
      renderer.clear()
      renderer.render(scene, camera)
    }
    camera.layers.set(layer.seen)
    scene.overrideMaterial = null
    scene.background = kept
    renderer.setRenderTarget(null)
    this.pass.uniforms.texel.value.set(1 / this.size.x, 1 / this.size.y)
    renderer.render(this.screen, this.flat)
  }
}
