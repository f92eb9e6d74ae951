// The light that comes from everywhere: pale above, warm grey below, as strong as in the stills. Metal shows what it mirrors,
// and would be black without it.
import { BackSide, BufferAttribute, Mesh, MeshBasicMaterial, PMREMGenerator, Scene, SphereGeometry } from 'three'

const above = [0.56, 0.56, 0.56], below = [0.29, 0.28, 0.27] // radiance, in the light's linear colours
const edge = 64 // pixels of a side of the picture of it: it has no detail

export function surroundings(renderer) {
  const sky = new SphereGeometry(1, 16, 12)
  const colours = new Float32Array(3 * sky.attributes.position.count)
  for (let v = 0; v < colours.length / 3; v++) {
    const up = (sky.attributes.position.getY(v) + 1) / 2
    for (let k = 0; k < 3; k++) colours[3 * v + k] = below[k] + (above[k] - below[k]) * up
  }
  sky.setAttribute('color', new BufferAttribute(colours, 3))
  const scene = new Scene()
  const material = new MeshBasicMaterial({ vertexColors: true, side: BackSide, toneMapped: false })
  scene.add(new Mesh(sky, material))
  const maker = new PMREMGenerator(renderer)
  const { texture } = maker.fromScene(scene, 0, 0.1, 10, { size: edge })
  maker.dispose()
  sky.dispose()
  material.dispose()
  return texture
}
