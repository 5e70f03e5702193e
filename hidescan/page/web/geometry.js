// Photo pixels to millimetres, and plane rings. Rings are flat arrays x, y, x, y ... not closed.
// The camera model and the rim's heights are those of hidescan/camera.py and hidescan/heights.py.

/** Where a pixel's ray goes in the hide frame, camera z = 1. */
function ray(camera, x, y) {
  const dx = (x - camera.principal_px[0]) / camera.focal_px;
  const dy = (y - camera.principal_px[1]) / camera.focal_px;
  const distorted = Math.hypot(dx, dy);
  let radius = distorted;
  for (let round = 0; round < 8; round++) {
    const r2 = radius * radius;
    const slope = 1 + r2 * (3 * camera.k1 + r2 * 5 * camera.k2);
    const step = (radius * (1 + r2 * (camera.k1 + r2 * camera.k2)) - distorted) / slope;
    radius -= step;
    if (Math.abs(step) < 1e-12) break;
  }
  const scale = distorted > 1e-12 ? radius / distorted : 1;
  const [a, b, c] = camera.rotation;
  const nx = dx * scale, ny = dy * scale;
  return [nx * a[0] + ny * b[0] + c[0], nx * a[1] + ny * b[1] + c[1], nx * a[2] + ny * b[2] + c[2]];
}

/** Where the camera stands in the hide frame. */
function stand(camera) {
  const [a, b, c] = camera.rotation, [x, y, z] = camera.translation_mm;
  return [0, 1, 2].map((k) => -(a[k] * x + b[k] * y + c[k] * z));
}

/** A pixel on the plane at height z, [x, y] mm. */
export function mmFromPx(camera, x, y, z = 0) {
  const way = ray(camera, x, y), centre = stand(camera);
  const far = (z - centre[2]) / way[2];
  return [centre[0] + way[0] * far, centre[1] + way[1] * far];
}

/** Where a point of the hide at height z is in the photo. */
export function pxFromMm(camera, x, y, z = 0) {
  const [u, v, w] = camera.rotation.map((row, k) => row[0] * x + row[1] * y + row[2] * z + camera.translation_mm[k]);
  const nx = u / w, ny = v / w, r2 = nx * nx + ny * ny;
  const far = camera.focal_px * (1 + r2 * (camera.k1 + r2 * camera.k2));
  return [camera.principal_px[0] + far * nx, camera.principal_px[1] + far * ny];
}

/** Ground size of a pixel, mm. */
export function mmPerPx(camera, x, y) {
  const [ax, ay] = mmFromPx(camera, x - 0.5, y), [bx, by] = mmFromPx(camera, x + 0.5, y);
  const [cx, cy] = mmFromPx(camera, x, y - 0.5), [dx, dy] = mmFromPx(camera, x, y + 0.5);
  return Math.sqrt(Math.abs((bx - ax) * (dy - cy) - (dx - cx) * (by - ay)));
}

/** Twice the signed area's half: positive where y runs up and the ring counter-clockwise. */
export function signedArea(ring) {
  let sum = 0;
  const n = ring.length;
  const ox = ring[0], oy = ring[1];
  for (let i = 0; i < n; i += 2) {
    const j = (i + 2) % n;
    sum += (ring[i] - ox) * (ring[j + 1] - oy) - (ring[j] - ox) * (ring[i + 1] - oy);
  }
  return sum / 2;
}

export function perimeter(ring) {
  let sum = 0;
  const n = ring.length;
  for (let i = 0; i < n; i += 2) {
    const j = (i + 2) % n;
    sum += Math.hypot(ring[j] - ring[i], ring[j + 1] - ring[i + 1]);
  }
  return sum;
}

/** The plan view of a rim seen in the photo, flat mm in the hide frame. */
export function planView(view, ring, hole = false) {
  const { camera, heights } = view;
  const n = ring.length;
  const floor = new Float64Array(n), plan = new Float64Array(n);
  const centre = stand(camera);
  for (let i = 0; i < n; i += 2) {
    const way = ray(camera, ring[i], ring[i + 1]);
    plan[i] = way[0] / way[2]; // the slope of the ray, until the height is known
    plan[i + 1] = way[1] / way[2];
    floor[i] = centre[0] - plan[i] * centre[2];
    floor[i + 1] = centre[1] - plan[i + 1] * centre[2];
  }
  const side = (signedArea(floor) >= 0) === hole ? -1 : 1;
  for (let i = 0; i < n; i += 2) {
    const before = (i - 2 + n) % n, after = (i + 2) % n;
    const nx = floor[after + 1] - floor[before + 1], ny = floor[before] - floor[after];
    const away = side * (nx * (floor[i] - centre[0]) + ny * (floor[i + 1] - centre[1])) > 0;
    const z = heights.lift_mm + (away ? heights.thickness_mm : 0);
    plan[i] = centre[0] + plan[i] * (z - centre[2]);
    plan[i + 1] = centre[1] + plan[i + 1] * (z - centre[2]);
  }
  return plan;
}

/** Area, length along y and width along x of a rim in the photo: mm2, mm, mm. */
export function sizes(view, ring) {
  const plan = planView(view, ring);
  let left = Infinity, right = -Infinity, low = Infinity, high = -Infinity;
  for (let i = 0; i < plan.length; i += 2) {
    left = Math.min(left, plan[i]);
    right = Math.max(right, plan[i]);
    low = Math.min(low, plan[i + 1]);
    high = Math.max(high, plan[i + 1]);
  }
  return { area: Math.abs(signedArea(plan)), length: high - low, width: right - left };
}

/** The vertex nearest to a place: {index, distance}, index counts vertices; -1 in an empty ring. */
export function nearest(ring, x, y) {
  let best = Infinity, index = -1;
  for (let i = 0; i < ring.length; i += 2) {
    const d = (ring[i] - x) ** 2 + (ring[i + 1] - y) ** 2;
    if (d < best) {
      best = d;
      index = i / 2;
    }
  }
  return { index, distance: Math.sqrt(best) };
}

/** How many vertices before and after a vertex lie within `reach` along the ring; at most a quarter of all. */
export function within(ring, index, reach) {
  const n = ring.length / 2;
  const count = (step) => {
    let gone = 0, k = 0, at = index;
    while (k < n / 4) {
      const next = (at + step + n) % n;
      gone += Math.hypot(ring[2 * next] - ring[2 * at], ring[2 * next + 1] - ring[2 * at + 1]);
      if (gone >= reach) break;
      at = next;
      k++;
    }
    return k;
  };
  return { before: count(-1), after: count(1) };
}

/** Vertices from `first` over `count` of them as pairs [x, y]. */
export function stretch(ring, first, count) {
  const n = ring.length / 2;
  return Array.from({ length: count }, (_, k) => {
    const i = (((first + k) % n) + n) % n;
    return [ring[2 * i], ring[2 * i + 1]];
  });
}

export function inside(ring, x, y) {
  let odd = false;
  for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2) {
    if (ring[i + 1] > y !== ring[j + 1] > y &&
        x < ((ring[j] - ring[i]) * (y - ring[i + 1])) / (ring[j + 1] - ring[i + 1]) + ring[i]) odd = !odd;
  }
  return odd;
}

/** Where the knob is that turns a piece: beyond the tip of its grain, by 34 CSS px whatever the zoom. */
export function turnKnob(middle, tip, resolution) {
  const dx = tip[0] - middle[0], dy = tip[1] - middle[1], long = Math.hypot(dx, dy) || 1;
  return [tip[0] + (34 * resolution * dx) / long, tip[1] + (34 * resolution * dy) / long];
}

export const rounded = (pairs) => pairs.map(([x, y]) => [Math.round(x * 100) / 100, Math.round(y * 100) / 100]);
