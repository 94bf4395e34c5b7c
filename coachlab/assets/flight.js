// The ball-flight page: move the club, the strike or the air, and see at once why the ball flew as it did.
//
// One module, three homes: a widget in JupyterLab and in the app (the default export), and a file of its own
// (createFlightPage). Every coefficient, range and default comes from Python as JSON (`numbers`); none is typed here.
// Four parts, each for the next: physics (the twin of coachlab.physics, same names), words, drawing, page.
// SI and degrees inside. Axes as in Python: x to the target, y to the left, z up; what is shown is right-positive,
// for a right-hander.

// Physics --------------------------------------------------------------------------------------------------------

const RAD = Math.PI / 180;
const RPM_RAD = (2 * Math.PI) / 60;

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const scaled = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
const plus = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const length = (a) => Math.hypot(a[0], a[1], a[2]);
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const polynomial = (coefficients, at) => coefficients.reduceRight((sum, c) => sum * at + c, 0);

/** The unit vector (forward, left, up) of a direction in degrees; out is to the right. */
export function direction(up_deg, out_deg) {
  const [up, out] = [up_deg * RAD, out_deg * RAD];
  return [Math.cos(up) * Math.cos(out), -Math.cos(up) * Math.sin(out), Math.sin(up)];
}

/** The solution of K x = b for a 3 x 3 matrix, by Cramer's rule. */
function solve(K, b) {
  const columns = [0, 1, 2].map((j) => [K[0][j], K[1][j], K[2][j]]);
  const determinant = dot(columns[0], cross(columns[1], columns[2]));
  return [0, 1, 2].map((j) => {
    const changed = columns.map((column, at) => (at === j ? b : column));
    return dot(changed[0], cross(changed[1], changed[2])) / determinant;
  });
}

/** How the ball leaves a delivery: one impulse between two rigid bodies; `problem` where it could not be flown. */
export function strike(delivery, head, e_t, numbers) {
  const { mass_kg, radius_m, inertia_share } = numbers.ball;
  const inertia = inertia_share * mass_kg * radius_m ** 2;
  const { strike_toe_mm: toe, strike_high_mm: high } = delivery;
  const n0 = direction(delivery.delivered_loft_deg, delivery.face_open_deg);
  const level = cross(n0, [0, 0, 1]);
  const t = scaled(level, 1 / length(level));
  const h = cross(t, n0);
  // bulge opens the face towards the toe, roll turns it up towards the crown; a flat face has no radius
  const [across, up] = head.bulge_mm === null ? [0, 0] : [toe / head.bulge_mm, high / head.bulge_mm];
  const turned = plus(scaled(n0, Math.cos(across)), scaled(t, Math.sin(across)));
  const n = plus(scaled(turned, Math.cos(up)), scaled(h, Math.sin(up)));

  // K: change of relative velocity at the contact for a unit impulse, 1/kg
  const r_h = scaled(plus(plus(scaled(n0, head.depth_mm), scaled(t, toe)), scaled(h, high)), 1e-3);
  const turns = [n0, t, h].map((axis, at) => [cross(r_h, axis), 1 / (head.inertia_gcm2[at] * 1e-7)]);
  const K = [0, 1, 2].map((i) =>
    [0, 1, 2].map((j) => {
      const same = i === j ? 1 : 0;
      const together = (1 / mass_kg + 1 / head.mass_kg) * same;
      const ball = (radius_m ** 2 * (same - n[i] * n[j])) / inertia;
      return together + ball + turns.reduce((sum, [arm, ease]) => sum + ease * arm[i] * arm[j], 0);
    }),
  );

  const u = scaled(direction(delivery.attack_up_deg, delivery.path_out_deg), -delivery.club_speed_mps);
  const u_n = dot(n, u);
  const u_t = plus(u, scaled(n, -u_n));
  const e = Math.min(head.e_max, head.e_ref - numbers.e_loss_per_mps * (Math.abs(u_n) - head.v_ref_mps));
  let J = solve(K, plus(scaled(n, -(1 + e) * u_n), scaled(u_t, -(1 + e_t))));
  const J_n = dot(n, J);
  const slips = length(plus(J, scaled(n, -J_n))) > head.mu * J_n;
  if (slips) {
    // the face cannot hold the ball: friction limits the impulse along it
    const push = plus(n, scaled(u_t, -head.mu / Math.max(length(u_t), 1e-12)));
    const given = K.map((row) => dot(row, push));
    J = scaled(push, (-(1 + e) * u_n) / dot(n, given));
  }
  const velocity = scaled(J, 1 / mass_kg);
  const spin = scaled(cross(scaled(n, -radius_m), J), 1 / inertia);
  const rate = length(spin);
  const launch_up_deg = Math.atan2(velocity[2], Math.hypot(velocity[0], velocity[1])) / RAD;
  const launch_out_deg = Math.atan2(-velocity[1], velocity[0]) / RAD;
  const axis = rate < 1e-9 ? spinAxis(launch_up_deg, launch_out_deg, 0) : scaled(spin, 1 / rate);
  const left = axis[1] * Math.cos(launch_out_deg * RAD) + axis[0] * Math.sin(launch_out_deg * RAD);
  if (left > 1e-9) return { problem: "forward spin" };
  return {
    ball_speed_mps: length(velocity),
    launch_up_deg,
    launch_out_deg,
    spin_rpm: rate / RPM_RAD,
    spin_tilt_deg: -Math.asin(clamp(axis[2], -1, 1)) / RAD,
    slips,
  };
}

/** The unit spin axis of a launch: perpendicular to the start direction, its elevation is the tilt. */
export function spinAxis(launch_up_deg, launch_out_deg, spin_tilt_deg) {
  const [a, out, t] = [launch_up_deg * RAD, launch_out_deg * RAD, spin_tilt_deg * RAD];
  const along = Math.sin(t) * Math.tan(a);
  const across = -Math.sqrt(Math.max(1 - Math.sin(t) ** 2 - along ** 2, 0));
  return [along * Math.cos(out) + across * Math.sin(out), across * Math.cos(out) - along * Math.sin(out), -Math.sin(t)];
}

/** Density of moist air (CIPM-2007, pressure by the standard atmosphere), kg/m3, and its viscosity, Pa s. */
export function airOf(controls, numbers) {
  const air = numbers.air;
  const t = controls.temperature_c;
  const T = t + 273.15;
  const cooled = 1 - (air.lapse_k_per_m * controls.altitude_m) / air.sea_level_k;
  const p =
    air.sea_level_pa *
    cooled ** ((air.gravity_mps2 * air.standard_kg_per_mol) / (air.standard_gas * air.lapse_k_per_m));
  const [s0, s1, s2, s3] = air.saturation;
  const p_sv = Math.exp(s0 * T * T + s1 * T + s2 + s3 / T);
  const [f0, f1, f2] = air.enhancement;
  const x = (air.humidity * (f0 + f1 * p + f2 * t * t) * p_sv) / p;
  const c = air.compressibility;
  const first = polynomial(c.a, t) + polynomial(c.b, t) * x + polynomial(c.c, t) * x * x;
  const Z = 1 - (p / T) * first + (p / T) ** 2 * (c.d + c.e * x * x);
  const share = 1 - x * (1 - air.vapour_kg_per_mol / air.dry_kg_per_mol);
  const [mu0, mu1, mu2] = air.viscosity;
  return {
    density_kgpm3: ((p * air.dry_kg_per_mol) / (Z * air.gas * T)) * share,
    viscosity_pas: (mu0 * (T / 273.15) ** 1.5 * mu1) / (T + mu2),
    tail_mps: controls.tail_mps,
    cross_mps: controls.cross_mps,
    grows: controls.profile === "log" && (controls.tail_mps !== 0 || controls.cross_mps !== 0),
  };
}

/** Drag and lift coefficient of a model at a spin ratio and a Reynolds number, written into `found`. */
function coefficientsAt(S, Re, fits, noSpinNoLift, found) {
  let drag = 0;
  let lift = 0;
  for (const fit of fits) {
    const r = clamp(Re * 1e-5, fit.re_low, fit.re_high);
    drag += polynomial(fit.drag, Math.min(S, fit.drag_hold)) + fit.drag_re * r;
    lift += polynomial(fit.lift, Math.min(S, fit.lift_hold)) + fit.lift_re / (r * r);
  }
  found[0] = drag / fits.length;
  found[1] = (lift / fits.length) * (1 - Math.exp(-S / noSpinNoLift));
}

/** The flight of a ball with one aerodynamic model: where, how high, when and how it lands, and its track. */
export function fly(launch, air, aero, numbers) {
  const { mass_kg, radius_m: R, inertia_share } = numbers.ball;
  const area = Math.PI * R * R;
  const force_per_m = (air.density_kgpm3 * area) / (2 * mass_kg);
  const reynolds_per_mps = (air.density_kgpm3 * 2 * R) / air.viscosity_pas;
  const decay_per_m = (air.density_kgpm3 * area * R * R * numbers.spin_decay) / (inertia_share * mass_kg * R * R);
  const [axis_x, axis_y, axis_z] = spinAxis(launch.launch_up_deg, launch.launch_out_deg, launch.spin_tilt_deg);
  const fits = numbers.aero.models[aero].map((name) => numbers.aero.fits[name]);
  const g = numbers.air.gravity_mps2;
  const roughness = numbers.air.roughness_m;
  const log_share = 1 / Math.log1p(numbers.air.reference_m / roughness);
  const CD_CL = [0, 0];

  function accelerate(z, vx, vy, vz, spin, a) {
    let [wind_x, wind_y] = [air.tail_mps, -air.cross_mps];
    if (air.grows) {
      const share = Math.log1p(Math.max(z, 0) / roughness) * log_share;
      wind_x *= share;
      wind_y *= share;
    }
    const [rx, ry] = [vx - wind_x, vy - wind_y];
    const speed = Math.max(Math.sqrt(rx * rx + ry * ry + vz * vz), 1e-9);
    const cx = axis_y * vz - axis_z * ry;
    const cy = axis_z * rx - axis_x * vz;
    const cz = axis_x * ry - axis_y * rx;
    const across = Math.max(Math.sqrt(cx * cx + cy * cy + cz * cz), 1e-9);
    const S = (R * spin * across) / (speed * speed);
    coefficientsAt(S, reynolds_per_mps * speed, fits, numbers.aero.no_spin_no_lift, CD_CL);
    const force = force_per_m * speed;
    const slow = force * CD_CL[0];
    const bend = (force * speed * CD_CL[1]) / across;
    a[0] = bend * cx - slow * rx;
    a[1] = bend * cy - slow * ry;
    a[2] = bend * cz - slow * vz - g;
    a[3] = -decay_per_m * speed * spin;
  }

  const start = scaled(direction(launch.launch_up_deg, launch.launch_out_deg), launch.ball_speed_mps);
  let [x, y, z, vx, vy, vz] = [0, 0, 0, ...start];
  let w = launch.spin_rpm * RPM_RAD;
  const track = { x: [0], side: [0], height: [0] };
  const [a1, a2, a3, a4] = [
    [0, 0, 0, 0],
    [0, 0, 0, 0],
    [0, 0, 0, 0],
    [0, 0, 0, 0],
  ];
  accelerate(z, vx, vy, vz, w, a1);
  if (!(vz > 0 || (vz === 0 && a1[2] > 0))) return landed(0, 0, 0, 0, vx, vy, vz, track);
  let now = 0;
  let peak = 0;
  const { step_s, first_step_s, growth, longest_s } = numbers.steps;
  while (now < longest_s) {
    // a wind that grows with height changes fastest at the ground
    const h = air.grows ? Math.min(step_s, first_step_s + now * (growth - 1)) : step_s;
    const half = h / 2;
    accelerate(z, vx, vy, vz, w, a1);
    const vz2 = vz + half * a1[2];
    accelerate(z + half * vz, vx + half * a1[0], vy + half * a1[1], vz2, w + half * a1[3], a2);
    const vz3 = vz + half * a2[2];
    accelerate(z + half * vz2, vx + half * a2[0], vy + half * a2[1], vz3, w + half * a2[3], a3);
    accelerate(z + h * vz3, vx + h * a3[0], vy + h * a3[1], vz + h * a3[2], w + h * a3[3], a4);
    const place = (p, v, i) => p + h * v + ((h * h) / 6) * (a1[i] + a2[i] + a3[i]);
    const speed = (v, i) => v + (h / 6) * (a1[i] + 2 * (a2[i] + a3[i]) + a4[i]);
    const [x1, y1, z1] = [place(x, vx, 0), place(y, vy, 1), place(z, vz, 2)];
    const [vx1, vy1, vz1] = [speed(vx, 0), speed(vy, 1), speed(vz, 2)];
    if (vz > 0 && vz1 <= 0) peak = Math.max(peak, peakIn(z, vz, z1, vz1, h));
    if (z1 < 0) {
      const s = landingIn(z, vz, z1, vz1, h);
      const [xl, vxl] = hermite(x, vx, x1, vx1, h, s);
      const [yl, vyl] = hermite(y, vy, y1, vy1, h, s);
      return landed(xl, yl, peak, now + s * h, vxl, vyl, hermite(z, vz, z1, vz1, h, s)[1], track);
    }
    w = speed(w, 3);
    [x, y, z, vx, vy, vz] = [x1, y1, z1, vx1, vy1, vz1];
    now += h;
    track.x.push(x);
    track.side.push(-y);
    track.height.push(z);
  }
  return { problem: "endless" };
}

function landed(x, y, peak_m, flight_s, vx, vy, vz, track) {
  track.x.push(x);
  track.side.push(-y);
  track.height.push(0);
  return {
    carry_m: Math.hypot(x, y),
    downrange_m: x,
    side_m: -y,
    peak_m,
    flight_s,
    land_angle_deg: Math.atan2(-vz, Math.hypot(vx, vy)) / RAD,
    track,
  };
}

/** Position and velocity at the share s of a step, from both ends' positions and velocities. */
function hermite(p0, v0, p1, v1, h, s) {
  const rise = p1 - p0;
  const c2 = 3 * rise - h * (2 * v0 + v1);
  const c3 = h * (v0 + v1) - 2 * rise;
  return [p0 + s * (h * v0 + s * (c2 + s * c3)), v0 + (s * (2 * c2 + 3 * s * c3)) / h];
}

/** The height where the climb ends within a step, by Newton on the velocity of the interpolant. */
function peakIn(z0, v0, z1, v1, h) {
  const c2 = 3 * (z1 - z0) - h * (2 * v0 + v1);
  const c3 = h * (v0 + v1) - 2 * (z1 - z0);
  let s = v0 / (v0 - v1);
  for (let turn = 0; turn < 4; turn += 1) {
    s = clamp(s - (h * v0 + s * (2 * c2 + 3 * s * c3)) / (2 * c2 + 6 * s * c3), 0, 1);
  }
  return hermite(z0, v0, z1, v1, h, s)[0];
}

/** The share of a step at which the ball is down, by Newton from the step's end. */
function landingIn(z0, v0, z1, v1, h) {
  let s = 1;
  for (let turn = 0; turn < 8; turn += 1) {
    const [z, vz] = hermite(z0, v0, z1, v1, h, s);
    s = clamp(s - z / (h * Math.min(vz, -1e-9)), 0, 1);
  }
  return s;
}

/** Which way the arc's plane points, out positive; its inverse; where it is lowest; the attack of such a low point. */
const turn = (attack_up_deg, incline_deg) =>
  Math.asin(Math.tan(attack_up_deg * RAD) / Math.tan(incline_deg * RAD)) / RAD;
export const arcAzimuth = (path_out_deg, attack_up_deg, incline_deg) => path_out_deg + turn(attack_up_deg, incline_deg);
export const pathFromArc = (azimuth_deg, attack_up_deg, incline_deg) => azimuth_deg - turn(attack_up_deg, incline_deg);
// no arc is so low: numbers beyond a quarter turn only go on, so that what was typed can be shown and refused
export const arcBottomFwd = (attack_up_deg, arc) =>
  (-1000 * arc.radius_m * (Math.abs(attack_up_deg) > 90 ? attack_up_deg / 90 : Math.sin(attack_up_deg * RAD))) /
    Math.sin(arc.incline_deg * RAD) +
  0;
export const attackFromBottom = (bottom_mm, arc) => {
  const share = (-bottom_mm / 1000 / arc.radius_m) * Math.sin(arc.incline_deg * RAD);
  return (Math.abs(share) > 1 ? 90 * share : Math.asin(share) / RAD) + 0;
};

const headOf = (controls, numbers) => numbers.heads[numbers.clubs[controls.club].head];
const arcOf = (controls, numbers) => numbers.arcs[numbers.clubs[controls.club].head];

/** A control's value: the low point has none of its own, since on a given arc it goes with attack. */
const valueOf = (controls, name, numbers) =>
  name === "arc_bottom_fwd_mm" ? arcBottomFwd(controls.attack_up_deg, arcOf(controls, numbers)) : controls[name];

/** The controls after one was moved: attack and low point are one thing; the arc takes the path along, or holds it. */
export function afterMove(controls, name, value, holds, numbers) {
  if (name === "club") return { ...controls, club: value, ...numbers.clubs[value].usual };
  if (name !== "attack_up_deg" && name !== "arc_bottom_fwd_mm") return { ...controls, [name]: value };
  const arc = arcOf(controls, numbers);
  const attack = name === "attack_up_deg" ? value : attackFromBottom(value, arc);
  const onArc = [attack, controls.attack_up_deg].every((each) => Math.abs(each) < arc.incline_deg);
  if (holds || !onArc) return { ...controls, attack_up_deg: attack };
  const azimuth = arcAzimuth(controls.path_out_deg, controls.attack_up_deg, arc.incline_deg);
  return { ...controls, attack_up_deg: attack, path_out_deg: pathFromArc(azimuth, attack, arc.incline_deg) };
}

/** What the controls make: launch, flight, arc; or a `problem` with the controls it concerns. */
export function shotOf(controls, numbers) {
  const problem = problemOf(controls, numbers);
  if (problem) return { problem };
  const head = headOf(controls, numbers);
  const arc = arcOf(controls, numbers);
  const launch = strike(controls, head, head.e_t, numbers);
  const flight = launch.problem ? launch : fly(launch, airOf(controls, numbers), numbers.aero.ensemble[0], numbers);
  if (flight.problem) return { problem: cannotFly(flight.problem) };
  return {
    controls,
    launch,
    flight,
    face_to_path_deg: controls.face_open_deg - controls.path_out_deg,
    arc_azimuth_deg: arcAzimuth(controls.path_out_deg, controls.attack_up_deg, arc.incline_deg),
    arc_bottom_fwd_mm: arcBottomFwd(controls.attack_up_deg, arc),
  };
}

/** The same shot under every aerodynamic model of the ensemble and every grip of the face that cannot be excluded. */
export function othersOf(shot, numbers) {
  const head = headOf(shot.controls, numbers);
  const air = airOf(shot.controls, numbers);
  const launches = [head.e_t, ...head.e_t_span].map((e_t) => strike(shot.controls, head, e_t, numbers));
  const flying = launches.filter((launch) => !launch.problem);
  return numbers.aero.ensemble.flatMap((aero) =>
    flying.map((launch) => ({ launch, flight: fly(launch, air, aero, numbers) })),
  );
}

/** From the least to the greatest value of each number over `others`. */
export function rangesOf(others) {
  const found = {};
  for (const part of ["launch", "flight"]) {
    for (const [name, value] of Object.entries(others[0][part])) {
      if (typeof value !== "number") continue;
      const values = others.map((other) => other[part][name]);
      found[name] = [Math.min(...values), Math.max(...values)];
    }
  }
  return found;
}

// Words ----------------------------------------------------------------------------------------------------------

const number = (value, digits, sign = false) => {
  const text = Math.abs(value).toFixed(digits);
  const zero = Number(text) === 0;
  return (zero ? "" : value < 0 ? "−" : sign ? "+" : "") + text.replace(/\B(?=(\d{3})+(?!\d))/g, ",");
};
const withUnit = (text, unit) => (unit === "°" ? text + unit : `${text} ${unit}`);
const sideWord = (value) => (value >= 0 ? "right" : "left");
const degrees = (value) => `${number(Math.abs(value), 1)}°`;
const toSide = (value) => (Math.abs(value) < 0.05 ? "straight at the target" : `${degrees(value)} ${sideWord(value)}`);

/** Numbers as they are shown in one system of units: `unitsOf(...).text("carry_m", 200, 0)` is "219 yd". */
function unitsOf(numbers, system) {
  const table = numbers.shown[system];
  const value = (name, amount, digits = table[name].digits, sign = false) =>
    number(amount * table[name].factor, digits, sign);
  return {
    value,
    text: (name, ...rest) => withUnit(value(name, ...rest), table[name].unit),
    of: (name) => table[name],
  };
}

/** A control's value in words: "2.0° right", "12 mm towards the heel", "92.0 mph". */
export function sayControl(control, value, system) {
  if (control.options) return control.options.find(([key]) => key === value)[1];
  const shown = control.shown[system];
  if (!control.words) return withUnit(number(value * shown.factor, shown.digits), shown.unit);
  const text = withUnit(number(Math.abs(value) * shown.factor, shown.digits), shown.unit);
  return Number(Math.abs(value * shown.factor).toFixed(shown.digits)) === 0
    ? text
    : `${text} ${control.words[value > 0 ? 0 : 1]}`;
}

/** Why a shot cannot be, with the controls it concerns; the same rules as check_delivery and Air in Python. */
function problemOf(controls, numbers) {
  const { limits } = numbers;
  const { club_speed_mps: speed, attack_up_deg: attack, delivered_loft_deg: loft } = controls;
  const { path_out_deg: path, face_open_deg: face, strike_toe_mm: toe, strike_high_mm: high } = controls;
  const outside = (name, low, most, found, advice, others = []) => [
    controls[name] >= low && controls[name] <= most,
    [name, ...others],
    found,
    advice,
    [low, most],
  ];
  const beyond = (name, ...rest) => outside(name, -limits[name], limits[name], ...rest);
  const offFace = (value) => `A strike ${number(Math.abs(value), 0)} mm from the centre is off the face.`;
  const noStroke = (what, most) => `A ${what} beyond ${most}° is no stroke at this target.`;
  const swing = ["attack_up_deg", "arc_bottom_fwd_mm"];
  const rules = [
    [speed !== 0, ["club_speed_mps"], "A head that does not move strikes no ball.", "Give it some speed."],
    outside("club_speed_mps", 0, limits.club_speed_mps, "No golfer swings like that.", "Is it in another unit?"),
    beyond(
      "attack_up_deg",
      `An attack beyond ${limits.attack_up_deg}°, or a low point so far off, would miss the ball.`,
      "Bring the low point nearer to the ball.",
      ["arc_bottom_fwd_mm"],
    ),
    beyond("path_out_deg", noStroke("path", limits.path_out_deg), "Turn it back."),
    beyond("face_open_deg", noStroke("face", limits.face_open_deg), "Turn it back."),
    [
      Math.abs(face - path) <= limits.apart_deg,
      ["face_open_deg", "path_out_deg"],
      `Face and path are more than ${limits.apart_deg}° apart.`,
      "Bring them together.",
    ],
    // a loft may be below nothing where the attack is further below
    outside("delivered_loft_deg", -Infinity, limits.delivered_loft_deg, "Such a face lies on the ground.", "Take loft away."),
    [
      loft > attack,
      ["delivered_loft_deg", ...swing],
      `Loft ${number(loft, 1)}° is not above attack ${number(attack, 1, true)}°: such a face drives the ball down.`,
      "Add loft, or lower the attack.",
    ],
    beyond("strike_toe_mm", offFace(toe), `The face ends at ${limits.strike_toe_mm} mm.`),
    beyond("strike_high_mm", offFace(high), `The face ends at ${limits.strike_high_mm} mm.`),
    ...Object.entries(limits.air).map(([name, [low, most]]) =>
      outside(name, low, most, "There is no such air on a golf course.", "Bring it back to where the slider ends."),
    ),
  ];
  const broken = rules.find(([good]) => !good);
  return broken ? { controls: broken[1], found: broken[2], advice: broken[3], ends: broken[4] } : null;
}

/** "999 mph is outside 0 to 178 mph", for the control that was moved; empty where no single number is at fault. */
function outsideOf(problem, name, controls, numbers, system) {
  if (!problem.ends) return "";
  const control = numbers.controls.find((each) => each.name === name);
  const { factor, digits, unit } = control.shown[system];
  const arc = arcOf(controls, numbers);
  const own = name === "arc_bottom_fwd_mm" ? problem.ends.map((end) => arcBottomFwd(-end, arc)) : problem.ends;
  const [low, most] = own.map((end) => Math.trunc(end * factor + Math.sign(end) * 1e-6)); // a whole number inside
  const value = valueOf(controls, name, numbers) * factor;
  const given = withUnit(number(value, Number.isInteger(Number(value.toFixed(digits))) ? 0 : digits), unit);
  return Number.isFinite(low)
    ? `${given} is outside ${number(low, 0)} to ${withUnit(number(most, 0), unit)}`
    : `${given} is above ${withUnit(number(most, 0), unit)}`;
}

/** All that is said of a problem beside a control. */
function wordsOf(problem, name, controls, numbers, system) {
  const outside = outsideOf(problem, name, controls, numbers, system);
  return [outside && `${outside}.`, problem.found, problem.advice].filter(Boolean).join(" ");
}

const cannotFly = (kind) =>
  kind === "forward spin"
    ? {
        controls: ["strike_high_mm", "delivered_loft_deg", "attack_up_deg"],
        found: "The ball would roll off the face forwards, over its own top.",
        advice: "Strike it lower on the face, or add loft.",
      }
    : { controls: ["tail_mps", "club_speed_mps"], found: "The ball would never come down.", advice: "Take wind or speed away." };

/** How far the ball lands from where its first direction alone would have taken it; right-positive, m. */
const curveOf = (flight, launch) => flight.side_m - flight.downrange_m * Math.tan(launch.launch_out_deg * RAD);

/** Why this flight, as the clauses of one sentence, each with its verb: start line, curve, height, distance. */
export function whyOf(shot, ranges, numbers, system) {
  const units = unitsOf(numbers, system);
  const { launch, flight, controls } = shot;
  const far = (value) => units.text("carry_m", Math.abs(value), 0);

  // what the ball would have done with a centred strike, and without wind
  const head = headOf(controls, numbers);
  const centred = strike({ ...controls, strike_toe_mm: 0, strike_high_mm: 0 }, head, head.e_t, numbers);
  const calm = airOf({ ...controls, tail_mps: 0, cross_mps: 0 }, numbers);
  const [aero] = numbers.aero.ensemble;
  const windless = fly(launch, calm, aero, numbers);
  const straightest = centred.problem ? windless : fly(centred, calm, aero, numbers);
  const curve = curveOf(flight, launch);
  const parts = {
    face: centred.problem ? 0 : curveOf(straightest, centred),
    strike: centred.problem ? curveOf(windless, launch) : curveOf(windless, launch) - curveOf(straightest, centred),
    wind: curve - curveOf(windless, launch),
  };

  const out = launch.launch_out_deg;
  const off = centred.problem ? 0 : out - centred.launch_out_deg;
  const opened = shot.face_to_path_deg;
  let start = Math.abs(out) < 0.25 ? "on the target line" : `${degrees(out)} ${sideWord(out)} of the target line`;
  if (Math.abs(off) >= 0.5) {
    start +=
      `: ${degrees(out - off)} ${sideWord(out - off)} by face and path, ` +
      `${degrees(off)} ${sideWord(off)} by a strike ${toeWord(controls)}`;
  } else if (Math.abs(opened) < 0.5) {
    start += ", where face and path both point";
  } else {
    const face = `where the face points (${toSide(controls.face_open_deg)})`;
    const path = `the path (${toSide(controls.path_out_deg)})`;
    const nearer = Math.abs(out - controls.face_open_deg) < Math.abs(out - controls.path_out_deg);
    start += nearer ? `, nearer to ${face} than to ${path}` : `, between ${path} and ${face}`;
  }

  const reasons = {
    face: `the face is ${degrees(opened)} ${opened >= 0 ? "open" : "closed"} to the path`,
    strike: `it is struck ${toeWord(controls)}`,
    wind:
      controls.cross_mps === 0
        ? `the ${controls.tail_mps > 0 ? "tail" : "head"} wind changes the flight`
        : `the wind blows to the ${sideWord(controls.cross_mps)}`,
  };
  const causes = Object.keys(parts).sort((a, b) => Math.abs(parts[b]) - Math.abs(parts[a]));
  const little = 1.5;
  const same = causes.filter((cause) => Math.sign(parts[cause]) === Math.sign(curve));
  const against = causes.find((cause) => !same.includes(cause) && Math.abs(parts[cause]) >= little);
  const [first, second] = same.filter((cause, at) => !at || Math.abs(parts[cause]) >= little);
  let bend = ["flies", "nearly straight"];
  if (Math.abs(curve) >= little) {
    bend = ["curves", `${far(curve)} to the ${sideWord(curve)} because ${reasons[first]}`];
    if (second) bend[1] += ` and ${reasons[second]}`;
    if (against) bend[1] += `, although ${reasons[against]}`;
  } else if (against && first && Math.abs(parts[first]) >= little) {
    bend[1] += `, since two things cancel: ${reasons[first]}, but ${reasons[against]}`;
  } else if (Math.abs(opened) < 0.5) {
    bend[1] += ", since face and path agree";
  }
  const side = units.value("carry_m", Math.abs(flight.side_m), 0);
  bend[1] +=
    side === "0" ? ", landing on the line" : `, landing ${far(flight.side_m)} ${sideWord(flight.side_m)} of the line`;

  const between = controls.delivered_loft_deg - controls.attack_up_deg;
  const [low, most] = ranges.carry_m;
  return [
    ["It", "starts", `${start},`],
    ["", bend[0], `${bend[1]},`],
    [
      "",
      "climbs",
      `to ${units.text("peak_m", flight.peak_m, 0)}, leaving ${degrees(launch.launch_up_deg)} up with ` +
        `${number(launch.spin_rpm, 0)} turns of spin a minute, since loft is ${degrees(between)} more than attack,`,
    ],
    [
      "and",
      "carries",
      `${far(flight.carry_m)} (${units.value("carry_m", low, 0)} to ${units.text("carry_m", most, 0)}).`,
    ],
  ];
}

/** A clause of the sentence as text, and as nodes with its verb in bold. */
const spoken = ([before, verb, after]) => `${before} ${verb}${/^[:;]/.test(after) ? "" : " "}${after}`.trimStart();
const bold = ([before, verb, after]) => [
  before ? `${before} ` : "",
  make("strong", {}, verb),
  /^[:;]/.test(after) ? after : ` ${after}`,
];

function toeWord({ strike_toe_mm: toe, strike_high_mm: high }) {
  const across = Math.abs(toe) >= 1 ? `${number(Math.abs(toe), 0)} mm towards the ${toe > 0 ? "toe" : "heel"}` : "";
  return across || `${number(Math.abs(high), 0)} mm ${high > 0 ? "high" : "low"} on the face`;
}

/** Which control mattered since the flight before, and what came of it, as a clause; null where nothing was moved. */
export function whatMattered(before, shot, moved, holds, numbers, system) {
  if (!before || !moved.length) return null;
  const units = unitsOf(numbers, system);
  const byName = Object.fromEntries(numbers.controls.map((control) => [control.name, control]));
  const [from, to] = [before.controls, shot.controls];
  const arc = arcOf(to, numbers);
  const swing = ["attack_up_deg", "arc_bottom_fwd_mm"];
  const arcTurns = moved.some((name) => swing.includes(name)) && from.club === to.club;
  const held = holds || from.path_out_deg === to.path_out_deg;
  const followed =
    held || !arcTurns
      ? from.path_out_deg
      : pathFromArc(
          arcAzimuth(from.path_out_deg, from.attack_up_deg, arc.incline_deg),
          to.attack_up_deg,
          arc.incline_deg,
        );
  // each control moved alone from the flight before; attack takes the path along as the arc does
  const alone = {};
  for (const name of moved) {
    if (name === "club") alone[name] = { ...to, path_out_deg: from.path_out_deg, face_open_deg: from.face_open_deg };
    else if (swing.includes(name)) alone[name] = { ...from, attack_up_deg: to.attack_up_deg, path_out_deg: followed };
    else if (name === "path_out_deg")
      alone[name] = { ...from, path_out_deg: from.path_out_deg + to.path_out_deg - followed };
    else alone[name] = { ...from, [name]: to[name] };
  }
  const effect = (controls) => {
    const other = shotOf(controls, numbers);
    if (other.problem) return 0;
    const [a, b] = [other.flight, before.flight];
    return Math.hypot(a.downrange_m - b.downrange_m, a.side_m - b.side_m, a.peak_m - b.peak_m);
  };
  const changed = moved.filter((name) => differs(name, before, shot));
  if (!changed.length) return null;
  const most = changed.length === 1 ? changed[0] : changed.sort((a, b) => effect(alone[b]) - effect(alone[a]))[0];
  const control = byName[most];
  const said = (at) =>
    sayControl(control, most === "arc_bottom_fwd_mm" ? at.arc_bottom_fwd_mm : at.controls[most], system);
  let text = `it went from ${said(before)} to ${said(shot)}`;
  if (swing.includes(most) && from.club === to.club) {
    const moves = followed - from.path_out_deg;
    const turned = shot.arc_azimuth_deg - before.arc_azimuth_deg;
    if (!held && Math.abs(moves) >= 0.1)
      text += `, taking the path ${degrees(moves)} ${sideWord(moves)} with it on this arc`;
    if (held && Math.abs(turned) >= 0.1)
      text += `, with the arc turned ${degrees(turned)} ${sideWord(turned)} to hold the path`;
  }
  const along = shot.flight.carry_m - before.flight.carry_m;
  const across = shot.flight.side_m - before.flight.side_m;
  const higher = shot.flight.peak_m - before.flight.peak_m;
  const least = 0.5 / units.of("carry_m").factor;
  const results = [];
  if (Math.abs(along) >= least)
    results.push(`${units.text("carry_m", Math.abs(along), 0)} ${along > 0 ? "more" : "less"} carry`);
  if (Math.abs(across) >= least)
    results.push(`${units.text("carry_m", Math.abs(across), 0)} further ${sideWord(across)}`);
  if (Math.abs(higher) >= least)
    results.push(`${units.text("peak_m", Math.abs(higher), 0)} ${higher > 0 ? "higher" : "lower"}`);
  const result = results.length ? results.join(", ") : "hardly any change";
  const many = changed.length > 1;
  return [
    many ? `Of the ${changed.length} controls moved,` : control.label,
    many ? `${control.label.toLowerCase()} mattered most` : "made the difference",
    `: ${text}. Against the dashed flight${many ? ", all together" : ""}: ${result}.`,
  ];
}

const differs = (name, before, shot) =>
  name === "arc_bottom_fwd_mm"
    ? Math.abs(before.arc_bottom_fwd_mm - shot.arc_bottom_fwd_mm) > 1e-9
    : before.controls[name] !== shot.controls[name];

// Drawing --------------------------------------------------------------------------------------------------------

/** A canvas made ready to draw in page pixels, sharp on this screen; cleared. */
function ready(canvas, look, width, height) {
  const ratio = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
    canvas.style.height = `${height}px`;
  }
  const pen = canvas.getContext("2d", { alpha: false });
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.fillStyle = look.paper;
  pen.fillRect(0, 0, width, height);
  pen.lineJoin = pen.lineCap = "round";
  return pen;
}

const trace = (pen, points) => points.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));

function stroke(pen, points, colour, width = 1, dash = []) {
  pen.beginPath();
  trace(pen, points);
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.setLineDash(dash);
  pen.stroke();
  pen.setLineDash([]);
}

function segment(pen, x0, y0, x1, y1, ...style) {
  stroke(
    pen,
    [
      [x0, y0],
      [x1, y1],
    ],
    ...style,
  );
}

function disc(pen, x, y, radius, fill, edge) {
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  if (fill) {
    pen.fillStyle = fill;
    pen.fill();
  }
  if (edge) {
    pen.strokeStyle = edge;
    pen.lineWidth = 1.25;
    pen.stroke();
  }
}

/** Words with a halo of paper, so that they can be read across a line; kept inside the canvas. */
function write(
  pen,
  look,
  text,
  x,
  y,
  { colour = look.ink, align = "left", bold = false, size = look.size, room = Infinity } = {},
) {
  pen.font = `${bold ? "600 " : ""}${size}px ${look.font}`;
  const wide = pen.measureText(text).width;
  const start = { left: x, center: x - wide / 2, right: x - wide }[align];
  const at = clamp(start, 2, Math.max(2, room - wide - 2));
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  pen.lineWidth = 7;
  pen.strokeStyle = look.paper;
  pen.strokeText(text, at, y);
  pen.fillStyle = colour;
  pen.fillText(text, at, y);
  return wide;
}

function arrow(pen, from, to, colour, width = 2) {
  const angle = Math.atan2(to[1] - from[1], to[0] - from[0]);
  stroke(pen, [from, to], colour, width);
  const wing = (turn) => [to[0] - 9 * Math.cos(angle + turn), to[1] - 9 * Math.sin(angle + turn)];
  pen.beginPath();
  trace(pen, [wing(0.38), to, wing(-0.38)]);
  pen.closePath();
  pen.fillStyle = colour;
  pen.fill();
}

const roundUp = (value, step) => Math.ceil(value / step - 1e-9) * step;

/** How much ground, height and side (m) the picture has to hold, in round steps so that it seldom changes its scale. */
function extentOf(flights, target, step_m) {
  const need = { far: 40 * step_m, high: 8 * step_m, left: 6 * step_m, right: 6 * step_m };
  for (const { downrange_m, side_m, track } of flights) {
    need.far = Math.max(need.far, downrange_m);
    need.high = Math.max(need.high, ...track.height);
    need.left = Math.max(need.left, -side_m, ...track.side.map((side) => -side));
    need.right = Math.max(need.right, side_m, ...track.side);
  }
  if (target) {
    need.far = Math.max(need.far, target.downrange_m + target.radius_m);
    need.left = Math.max(need.left, target.radius_m - target.side_m);
    need.right = Math.max(need.right, target.radius_m + target.side_m);
  }
  return {
    far: roundUp(need.far * 1.02, 20 * step_m),
    high: roundUp(need.high, 5 * step_m),
    left: roundUp(need.left, 5 * step_m),
    right: roundUp(need.right, 5 * step_m),
  };
}

/** Where things stand in the picture of the flight: one scale k (px/m) for far, high and to the side. */
function flightFrame(width, extent) {
  const narrow = width < 520;
  const height = Math.round(clamp(width * 0.42, 176, 350));
  const [left, right, top, strip, foot] = narrow ? [8, 30, 18, 26, 8] : [14, 64, 22, 34, 14];
  const across = width - left - right;
  const down = height - top - strip - foot;
  const tall = extent.high + extent.left + extent.right;
  const k = Math.min(across / extent.far, down / tall);
  const spare = down - k * tall;
  const ground = top + k * extent.high + spare * 0.35;
  const line = ground + strip + k * extent.left + spare * 0.4;
  const frame = { width, height, narrow, left, top, strip, foot, k, ground, line, end: left + k * extent.far };
  frame.X = (x) => left + k * x;
  frame.H = (z) => ground - k * z;
  frame.S = (side) => line + k * side;
  frame.inPlan = (y) => clamp(y, ground + strip + 2, height - 8);
  /** Every so many points of a track, and its last, from the side and from above. */
  frame.views = (track, every = 2) => {
    const at = track.x.map((_, i) => i).filter((i) => i % every === 0 || i === track.x.length - 1);
    return [
      at.map((i) => [frame.X(track.x[i]), frame.H(track.height[i])]),
      at.map((i) => [frame.X(track.x[i]), frame.S(track.side[i])]),
    ];
  };
  return frame;
}

/** Plan and elevation of the flight on one common scale, with the range over models, the flight before, the target. */
function drawFlights(canvas, look, width, scene) {
  const { shot, target, extent, hidden } = scene;
  const frame = flightFrame(width, extent);
  const pen = ready(canvas, look, width, frame.height);
  const before = hidden.has("before") ? null : scene.before;
  const seen = hidden.has("flight") ? null : shot;
  drawRuler(pen, look, frame, extent, scene.units);
  if (target) drawTarget(pen, look, frame, target);
  if (before) {
    for (const points of frame.views(before.flight.track)) stroke(pen, points, look.before, 1.5, [6, 5]);
    disc(pen, frame.X(before.flight.downrange_m), frame.S(before.flight.side_m), 3, look.paper, look.before);
  }
  if (seen) drawRange(pen, look, frame, scene.others);
  if (seen) for (const points of frame.views(seen.flight.track)) stroke(pen, points, look.flight, 2.5);
  disc(pen, frame.X(0), frame.ground, 3, look.ink);
  disc(pen, frame.X(0), frame.line, 3, look.ink);
  if (seen) labelFlights(pen, look, frame, seen.flight, before, scene);
  if (seen && scene.problem) {
    write(pen, look, "no such shot: the last good flight", 2, 10, { colour: look.faceText, room: width });
  }
}

/** The ruler between the two views, which belongs to both; ground, target line, and heights. */
function drawRuler(pen, look, frame, extent, units) {
  const { X, H, left, end, top, strip, foot, ground, line, width, height, narrow, k } = frame;
  const { factor, unit } = units.of("carry_m");
  const tick = [10, 20, 25, 50, 100].find((step) => (step / factor) * k >= (narrow ? 46 : 60)) ?? 100;
  for (let mark = 0; mark / factor <= extent.far + 1e-6; mark += tick) {
    const x = X(mark / factor);
    segment(pen, x, top - 6, x, ground, look.line);
    segment(pen, x, ground + strip - 5, x, height - foot + 4, look.line);
    const [text, at, align] = mark ? [String(mark), x, "center"] : [`0 ${unit}`, 2, "left"];
    write(pen, look, text, at, ground + strip / 2 - 1, { colour: look.quiet, align, room: width });
  }
  for (let mark = 20; mark / factor <= extent.high + 1e-6; mark += 20) {
    segment(pen, left, H(mark / factor), end, H(mark / factor), look.line);
  }
  segment(pen, left, ground, end, ground, look.quiet);
  segment(pen, left, line, end, line, look.quiet, 1, [1, 4]);
  if (narrow) return;
  const quiet = { colour: look.quiet, align: "right", room: width };
  write(pen, look, "from the side", width - 2, top - 12, quiet);
  write(pen, look, "from above", width - 2, ground + strip - 2, quiet);
}

function drawTarget(pen, look, frame, target) {
  const [x, y, r] = [frame.X(target.downrange_m), frame.S(target.side_m), Math.max(frame.k * target.radius_m, 4)];
  if (target.track) for (const points of frame.views(target.track)) stroke(pen, points, look.target, 1.5, [2, 4]);
  disc(pen, x, y, r, null, look.target);
  segment(pen, x, frame.ground - 7, x, frame.ground + 4, look.target, 2);
  write(pen, look, target.label, x, y - r - 9, { colour: look.target, align: "center", room: frame.width });
}

/** Where the same strike would fly and land under other models: faint tracks, and a pale shape on the ground. */
function drawRange(pen, look, frame, others) {
  const { X, S, ground } = frame;
  const carries = others.map(({ flight }) => X(flight.downrange_m));
  const [least, most] = [Math.min(...carries), Math.max(...carries)];
  pen.fillStyle = pen.strokeStyle = look.band;
  pen.fillRect(least, ground - 3, most - least, 6);
  pen.beginPath();
  trace(pen, hull(others.map(({ flight }) => [X(flight.downrange_m), S(flight.side_m)])));
  pen.closePath();
  pen.lineWidth = 9;
  pen.stroke();
  pen.fill();
  for (const { flight } of others) for (const points of frame.views(flight.track, 6)) stroke(pen, points, look.faint);
}

/** Labels where they belong; those of the flight before give way. */
function labelFlights(pen, look, frame, flight, before, { units, fixed, others }) {
  const { X, H, S, width, narrow, line } = frame;
  const [x, y] = [X(flight.downrange_m), S(flight.side_m)];
  disc(pen, x, frame.ground, 4, look.flight);
  disc(pen, x, y, 4, look.flight);
  const style = { colour: look.flight, align: "center", room: width };

  const apex = flight.track.height.indexOf(Math.max(...flight.track.height));
  const high = units.text("peak_m", flight.peak_m, 0);
  const under = before && before.flight.peak_m > flight.peak_m;
  const top = H(flight.track.height[apex]) + (under ? 15 : -11);
  write(pen, look, narrow ? high : `${high} high`, X(flight.track.x[apex]), top, style);

  const below = !before || flight.side_m >= before.flight.side_m;
  const side = units.value("carry_m", Math.abs(flight.side_m), 0);
  const where = side === "0" ? "on line" : `${side} ${sideWord(flight.side_m)}`;
  const beside = besideLanding(frame, others, y, below);
  write(pen, look, `${units.text("carry_m", flight.carry_m, 0)}, ${where}`, x + 8, beside, { ...style, bold: true });
  if (!narrow && Math.abs(beside - line) > 14) {
    write(pen, look, "target", frame.end + 6, line, { colour: look.quiet, room: width });
  }
  if (!before) return;
  const at = Math.floor(before.flight.track.x.length * 0.62);
  const [bx, by] = [X(before.flight.track.x[at]), S(before.flight.track.side[at])];
  const name = fixed ? "the flight kept" : "the flight before";
  write(pen, look, name, bx, frame.inPlan(by + (below ? -12 : 12)), { ...style, colour: look.quiet });
}

/** How high the words on the landing stand: clear of the pale shape, on the wanted side of it where there is room. */
function besideLanding({ S, inPlan }, others, y, below) {
  const places = [y, ...others.map(({ flight }) => S(flight.side_m))];
  const [under, over] = [Math.max(...places) + 18, Math.min(...places) - 18];
  const [wanted, other] = below ? [under, over] : [over, under];
  return inPlan(wanted) === wanted || inPlan(other) !== other ? inPlan(wanted) : other;
}

/** The convex hull of some points (monotone chain): where the ball may land, as one shape. */
function hull(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const chain = (ordered) => {
    const kept = [];
    for (const p of ordered) {
      for (;;) {
        const [a, b] = kept.slice(-2);
        if (!b || (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0) break;
        kept.pop();
      }
      kept.push(p);
    }
    return kept.slice(0, -1);
  };
  return [...chain(sorted), ...chain([...sorted].reverse())];
}

const HALF_M = 0.48; // how much of the arc is drawn on either side of the ball
const STRETCH = 3; // sideways, from above: small angles would not be seen; the caption says so

/** The head's way near the ball, from the ball's place: an arc in a leaning plane. Also its lowest point. */
function arcNearBall(shot, arc) {
  const [theta, azimuth] = [arc.incline_deg * RAD, shot.arc_azimuth_deg * RAD];
  const onArc = (phi) => {
    const along = arc.radius_m * Math.sin(phi);
    const rise = arc.radius_m * (1 - Math.cos(phi));
    const inward = rise * Math.cos(theta);
    return {
      x: along * Math.cos(azimuth) + inward * Math.sin(azimuth),
      side: along * Math.sin(azimuth) - inward * Math.cos(azimuth),
      z: rise * Math.sin(theta),
    };
  };
  const atBall = Math.asin(clamp(Math.sin(shot.controls.attack_up_deg * RAD) / Math.sin(theta), -1, 1));
  const origin = onArc(atBall);
  const fromBall = ({ x, side, z }) => ({ x: x - origin.x, side: side - origin.side, z: z - origin.z });
  const reach = Math.asin(HALF_M / arc.radius_m);
  const points = Array.from({ length: 61 }, (_, i) => fromBall(onArc(atBall + (reach * (i - 30)) / 30)));
  return { points, low: fromBall(onArc(0)) };
}

/** The strike from above and the arc face-on, one over the other on one scale along the target line. */
function drawStrike(canvas, look, width, scene) {
  const { shot, numbers, hidden } = scene;
  const pen = ready(canvas, look, width, 256);
  if (!shot) return;
  const k = (width - 24) / (2 * HALF_M);
  const place = {
    width,
    k,
    middle: width / 2,
    ball: Math.max(numbers.ball.radius_m * k, 5),
    ...arcNearBall(shot, arcOf(shot.controls, numbers)),
  };
  // words last, so that no line runs through them
  if (!hidden.has("impact")) drawImpact(pen, look, place, shot);
  if (!hidden.has("impact") && !hidden.has("arc")) drawAzimuth(pen, look, place, shot);
  if (!hidden.has("impact")) nameImpact(pen, look, place, shot, scene.problem);
  if (!hidden.has("arc")) drawArc(pen, look, place, shot);
}

const ABOVE = 76; // where the target line lies in the view from above, px

/** Where path and face are drawn from above: their angles, as stretched, how long they are, and a place along them. */
function impactLines({ width, middle }, { path_out_deg, face_open_deg }) {
  const [a, b] = [path_out_deg, face_open_deg].map((value) => Math.atan(STRETCH * Math.tan(value * RAD)));
  const away = (angle, far) => [middle + far * Math.cos(angle), ABOVE + far * Math.sin(angle)];
  return { a, b, radius: clamp(width * 0.5 - 118, 40, 150), away };
}

function drawImpact(pen, look, place, shot) {
  const { width, k, middle, ball, points } = place;
  const { a, b, radius, away } = impactLines(place, shot.controls);
  segment(pen, 12, ABOVE, width - 12, ABOVE, look.quiet, 1, [1, 4]);
  const way = points.map(({ x, side }) => [middle + k * x, ABOVE + k * STRETCH * side]);
  stroke(
    pen,
    way.filter(([, y]) => Math.abs(y - ABOVE) < 58),
    look.soft,
    6,
  );
  // between path and face: what bends the flight
  pen.beginPath();
  pen.moveTo(middle, ABOVE);
  pen.arc(middle, ABOVE, radius * 0.8, a, b, b < a);
  pen.closePath();
  pen.fillStyle = look.band;
  pen.fill();
  arrow(pen, away(a, -radius * 0.95), away(a, radius), look.path);
  segment(pen, middle, ABOVE, ...away(b, radius), look.face, 2);
  const [fx, fy] = away(b, -ball);
  const [ux, uy] = [-30 * Math.sin(b), 30 * Math.cos(b)];
  segment(pen, fx - ux, fy - uy, fx + ux, fy + uy, look.face, 4);
  disc(pen, middle, ABOVE, ball, look.paper, look.ink);
}

function nameImpact(pen, look, place, shot, problem) {
  const { width, middle } = place;
  const { path_out_deg: path, face_open_deg: face } = shot.controls;
  const { a, b, radius, away } = impactLines(place, shot.controls);
  const short = (value) => (Math.abs(value) < 0.05 ? "straight" : toSide(value));
  const ends = [
    { text: `path ${short(path)}`, colour: look.pathText, y: away(a, radius)[1] },
    { text: `face ${short(face)}`, colour: look.faceText, y: away(b, radius)[1] },
  ].sort((p, q) => p.y - q.y);
  const half = clamp((ends[1].y - ends[0].y) / 2, 9, 49); // lines of text apart, and both inside the view
  const between = clamp((ends[0].y + ends[1].y) / 2, 26 + half, 124 - half);
  ends.forEach(({ text, colour }, at) => {
    const given = between + (at ? half : -half);
    write(pen, look, text, middle + radius + 12, given, { colour, room: width });
  });
  const opened = shot.face_to_path_deg;
  const way_ = Math.abs(opened) < 0.05 ? "square" : `${degrees(opened)} ${opened > 0 ? "open" : "closed"}`;
  write(pen, look, `strike, from above${problem ? ": the last good one" : ""}`, 4, 12, { colour: look.quiet, room: width });
  write(pen, look, `face ${way_} to path`, 4, 143, { room: width });
}

function drawArc(pen, look, { width, k, middle, ball, points, low }, shot) {
  const front = 206;
  const floor = front + ball;
  const attack = shot.controls.attack_up_deg;
  segment(pen, 12, floor, width - 12, floor, look.quiet);
  stroke(
    pen,
    points.map(({ x, z }) => [middle + k * x, front - k * z]).filter(([, y]) => y > 184), // the words stand above
    look.soft,
    6,
  );
  const radius = clamp(width * 0.3, 40, 120);
  const [dx, dy] = [radius * Math.cos(attack * RAD), -radius * Math.sin(attack * RAD)];
  arrow(pen, [middle - dx, front - dy], [middle + dx, front + dy], look.path);
  disc(pen, middle, front, ball, look.paper, look.ink);
  const how = Math.abs(attack) < 0.05 ? "level" : `${degrees(attack)} ${attack > 0 ? "up" : "down"}`;
  write(pen, look, "arc, face-on", 4, 168, { colour: look.quiet, room: width });
  write(pen, look, `attack ${how}`, width - 4, 168, { colour: look.pathText, align: "right", room: width });
  if (Math.abs(low.x) >= HALF_M) return;
  const [x, y] = [middle + k * low.x, front - k * low.z];
  segment(pen, x, y - 7, x, y + 7, look.ink, 2);
  const far = Math.abs(shot.arc_bottom_fwd_mm) / 10;
  const where = far < 0.05 ? "at the ball" : `${number(far, 1)} cm ${low.x > 0 ? "ahead" : "behind"}`;
  const under = clamp(front + Math.abs(dy) + 15, floor + 15, 247); // clear of the arrow's tip
  write(pen, look, `lowest ${where}`, x, under, { align: "center", room: width });
}

/** Which way the arc points, drawn through its low point as seen from above. */
function drawAzimuth(pen, look, { width, k, middle, low }, shot) {
  const turned = shot.arc_azimuth_deg;
  const where = Math.abs(turned) < 0.05 ? "at the target" : `${degrees(turned)} ${sideWord(turned)}`;
  if (Math.abs(low.x) < HALF_M) {
    const [x, y] = [middle + k * low.x, ABOVE + k * STRETCH * low.side];
    const lean = Math.atan(STRETCH * Math.tan(turned * RAD));
    const [dx, dy] = [Math.min(width * 0.2, 80) * Math.cos(lean), Math.min(width * 0.2, 80) * Math.sin(lean)];
    segment(pen, x - dx, y - dy, x + dx, y + dy, look.ink, 1, [4, 3]);
    disc(pen, x, y, 2.5, look.ink);
  }
  write(pen, look, `arc points ${where}`, width - 4, 143, { align: "right", room: width });
}

// Page -----------------------------------------------------------------------------------------------------------

const KEYED = new Set(["input", "select", "button", "summary"]);

/** An element with properties and children; text stays text. */
function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name in element && name !== "list") element[name] = value;
    else element.setAttribute(name, value);
  }
  // JupyterLab would take arrow keys and Enter for itself; it looks for this on the element that has the focus
  if (KEYED.has(tag)) element.setAttribute("data-lm-suppress-shortcuts", "true");
  element.append(...children);
  return element;
}

const ROWS = [
  ["carry_m", "Carry", "flight"],
  ["side_m", "Lands to the side", "flight"],
  ["peak_m", "Greatest height", "flight"],
  ["land_angle_deg", "Falls at", "flight"],
  ["flight_s", "In the air", "flight"],
  ["ball_speed_mps", "Ball speed", "launch"],
  ["launch_up_deg", "Starts upwards", "launch"],
  ["launch_out_deg", "Starts sideways", "launch"],
  ["spin_rpm", "Spin", "launch"],
  ["spin_tilt_deg", "Spin axis leans", "launch"],
];
const BEGIN = ["Now", "move a control", "and see what it does; the flight before stays as a dashed line."];
const SIDEWAYS = new Set(["side_m", "launch_out_deg", "spin_tilt_deg"]);
const REST_MS = 180; // the sentence and the kernel wait until the hand rests, so that nobody is flooded
const ONE_MOVE_MS = 1500; // key presses closer than this are one move, compared with the flight before it
let pages = 0;

/** Which side a number of this row is on, as it is shown; none where it is shown as nothing. */
const sideOf = (units, name, value) =>
  SIDEWAYS.has(name) && /[1-9]/.test(units.value(name, Math.abs(value))) ? ` ${sideWord(value)}` : "";

const sidedText = (units, name, value, text) =>
  text(name, SIDEWAYS.has(name) ? Math.abs(value) : value) + sideOf(units, name, value);

/** A range in the words of its number: "18 to 19 right", "2 left to 3 right"; one number where both ends read alike. */
function rangeText(units, name, [low, high]) {
  const [first, last] = SIDEWAYS.has(name) && high <= 0 ? [high, low] : [low, high];
  const [from, to] = [first, last].map((end) => sidedText(units, name, end, units.value));
  if (from === to) return from;
  const same = sideOf(units, name, first) === sideOf(units, name, last);
  return `${same ? from.replace(/ (left|right)$/, "") : from} to ${to}`;
}

/** The table of numbers: now, the range over models, and the flight before. */
function numbersTable() {
  const head = (text) => make("th", { scope: "col" }, text);
  const [nowHead, beforeHead] = [head("now"), head("")];
  const rows = ROWS.map(([name, label, part]) => {
    const [now, range, before] = ["fp-now", "", "fp-before"].map((className) => make("td", { className }));
    const element = make("tr", {}, make("th", { scope: "row" }, label), now, range, before);
    return { name, part, now, range, before, element };
  });
  const element = make(
    "table",
    {},
    make("caption", {}, "The flight in numbers, each with its range over models of ball and face"),
    make("thead", {}, make("tr", {}, make("td"), nowHead, head("range"), beforeHead)),
    make("tbody", {}, ...rows.map((row) => row.element)),
  );

  function show({ shot, ranges, before, fixed, problem }, units) {
    nowHead.textContent = problem ? "last good" : "now";
    beforeHead.textContent = !before ? "" : fixed ? "kept" : "before";
    for (const row of rows) {
      const { name, part } = row;
      row.now.textContent = sidedText(units, name, shot[part][name], units.text);
      row.range.textContent = rangeText(units, name, ranges[name]);
      row.before.textContent = before ? sidedText(units, name, before[part][name], units.value) : "";
    }
  }
  return { element, show };
}

/**
 * One control: its label, a slider and a number to type, or a choice; and the place where its trouble is told.
 * `act.move(value)` is called when the hand moves it, `act.begin()` when a pointer takes hold of it, `act.back()`
 * when its box was left empty.
 */
function controlRow(control, id, act) {
  const label = make("label", { htmlFor: id(control.name) }, control.label);
  const trouble = make("p", {
    className: "fp-trouble",
    id: id(`${control.name}-trouble`),
    role: "alert",
    hidden: true,
  });
  const made = control.options ? choiceOf(control, id, act) : sliderOf(control, id, act, label);
  const className = control.options ? "fp-control fp-choice" : "fp-control";

  function show(value, system, shut, words, wrong) {
    made.show(value, system);
    if (trouble.textContent !== words) trouble.textContent = words;
    trouble.hidden = !words;
    for (const input of made.inputs) {
      input.disabled = shut;
      input.setAttribute("aria-invalid", String(wrong));
      if (words) input.setAttribute("aria-describedby", trouble.id);
      else input.removeAttribute("aria-describedby");
    }
  }
  return { element: make("div", { className }, label, ...made.inputs, trouble), show, relabel: made.relabel, trouble };
}

function choiceOf(control, id, act) {
  const options = control.options.map(([value, words]) => make("option", { value }, words));
  const choice = make("select", { id: id(control.name) }, ...options);
  choice.addEventListener("change", () => act.move(choice.value));
  const show = (value) => {
    if (choice.value !== value) choice.value = value;
  };
  return { inputs: [choice], show, relabel: () => {} };
}

function sliderOf(control, id, act, label) {
  const hint = make("span", { className: "fp-hint" });
  const slider = make("input", { type: "range", id: id(control.name) });
  const typed = make("input", { type: "number", id: id(`${control.name}-typed`) });
  let [given, shown] = [0, null];
  label.append(" ", hint);
  slider.addEventListener("input", () => act.move(slider.valueAsNumber / shown.factor));
  slider.addEventListener("pointerdown", act.begin);
  slider.addEventListener("keydown", step);
  typed.addEventListener("input", () => {
    if (!Number.isFinite(typed.valueAsNumber)) return;
    given = typed.valueAsNumber / shown.factor; // the box may be left before the next frame
    act.move(given);
  });
  typed.addEventListener("blur", () => (Number.isFinite(typed.valueAsNumber) ? write() : act.back()));

  /** Arrow keys move by what a golfer would notice; with Shift by the smallest step. */
  function step(event) {
    const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (!way || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    const by = event.shiftKey ? shown.step : shown.key;
    const steps = (given * shown.factor) / by;
    const next = by * (way > 0 ? Math.floor(steps + 1e-6) + 1 : Math.ceil(steps - 1e-6) - 1);
    given = clamp(next, shown.low, shown.high) / shown.factor; // a second press may come before the next frame
    act.move(given);
  }

  function write() {
    const text = (given * shown.factor).toFixed(shown.digits);
    typed.value = !Number.isFinite(given) ? "" : Number(text) === 0 ? (0).toFixed(shown.digits) : text;
  }

  function show(value, system) {
    given = value;
    if (document.activeElement !== typed) write(); // or the cursor would jump while somebody types
    if (Number.isFinite(value)) slider.value = value * shown.factor;
    slider.setAttribute("aria-valuetext", Number.isFinite(value) ? sayControl(control, value, system) : "none");
  }

  function relabel(system) {
    shown = control.shown[system];
    hint.textContent = control.plus ? `${shown.unit}, ${control.plus}\u00a0+` : shown.unit;
    Object.assign(slider, { min: shown.low, max: shown.high, step: shown.step });
    slider.classList.toggle("fp-middle", shown.low === -shown.high);
    typed.step = shown.key;
    typed.setAttribute("aria-label", `${control.label}, ${hint.textContent}, typed`);
  }
  return { inputs: [slider, typed], show, relabel };
}

/**
 * Build a ball-flight page inside an element and return its interface:
 *
 *   set(changes)     move controls, as {face_open_deg: 3}; all that is given stands exactly; an unknown name throws
 *   read()           the state: controls, launch, flight, ranges, arc, problem, why (SI, degrees, right-positive)
 *   target(what)     show a place, {carry_m, side_m, radius_m, label}, or another delivery's flight,
 *                    {controls: {...}, radius_m, label}; null takes it away
 *   offer(names)     which controls can be moved; null: all
 *   hide(parts)      of "flight", "before", "numbers", "why", "impact", "arc"
 *   units(system)    "yards" or "metres"
 *   compare(fixed)   true keeps the flight that is seen now as the dashed one
 *   forget()         take the dashed flight away, and begin to compare with the one that is seen now
 *   on(listener)     called with the state whenever the page comes to rest; returns how to stop that
 *   answer(controls) what some controls would make, without moving the page: as read(), or only a problem
 *   remove()         take the page away
 */
export function createFlightPage(place, numbers, options = {}) {
  pages += 1;
  const id = (name) => `flight-page-${pages}-${name}`;
  const byName = Object.fromEntries(numbers.controls.map((control) => [control.name, control]));
  const state = {
    controls: begin(),
    system: options.system ?? "yards",
    shot: null, // the last good one
    problem: null,
    others: [],
    before: null,
    moved: [],
    fixed: false,
    target: null,
    offered: null,
    hidden: new Set(),
    extent: null,
    why: "",
  };

  function begin() {
    const { hold_path, ...controls } = { ...numbers.start, ...options.controls };
    return controls;
  }
  const fields = new Map();
  const listeners = new Set();
  let look = {};
  let frame = 0;
  let rest = 0;
  let restyling = 0;
  let lastName = null;
  let lastTime = 0;

  // What stands on the page

  const why = make("p", { className: "fp-why", "aria-live": "polite" });
  const flights = make("canvas", { role: "img" });
  const strikes = make("canvas", { role: "img" });
  const strikeNote = make(
    "figcaption",
    {},
    "Pale: the way of the head. Dashed: where its arc points, through the low point. Between path and face lies what " +
      "bends the flight. From above all is drawn three times as wide as it is, so that small angles show.",
  );
  const table = numbersTable();
  const note = make("p", { className: "fp-note" }, numbers.note);
  const keep = make("button", { type: "button", "aria-pressed": "false" }, "Keep this flight to compare");
  const again = make("button", { type: "button" }, "Start again");
  const systems = make(
    "select",
    { id: id("system") },
    ...Object.keys(numbers.shown).map((name) => make("option", { value: name }, name)),
  );
  const hold = make("input", { type: "checkbox", id: id("hold"), checked: Boolean(options.controls?.hold_path) });
  const arcNote = make("p", { className: "fp-arc", id: id("arc") });
  const root = make(
    "section",
    { className: "flight-page", "aria-label": "Ball flight" },
    make(
      "div",
      { className: "fp-grid" },
      make("figure", { className: "fp-flights" }, flights),
      why,
      make("form", { className: "fp-controls", "aria-label": "Controls", onsubmit: () => false }, ...groups()),
      make("figure", { className: "fp-strikes" }, strikes, strikeNote),
      make("div", { className: "fp-numbers" }, table.element, note),
    ),
  );
  root.flightPage = { set, read, answer, target, offer, hide, units, compare, forget, on, remove };
  place.append(root);

  function groups() {
    const made = numbers.groups.map(({ name, label }) => {
      const mine = numbers.controls.filter((control) => control.group === name).map(row);
      const legend = make("legend", {}, label);
      const fieldset = make("fieldset", { className: `fp-${name}` }, legend, ...mine);
      if (name === "swing") {
        fieldset.append(
          make(
            "div",
            { className: "fp-hold" },
            hold,
            make("label", { htmlFor: id("hold") }, "Hold the path by turning the arc"),
          ),
          arcNote,
        );
        hold.setAttribute("aria-describedby", id("arc"));
      }
      return fieldset;
    });
    const settings = make(
      "div",
      { className: "fp-settings" },
      keep,
      again,
      make("span", { className: "fp-system" }, make("label", { htmlFor: systems.id }, "Show in"), " ", systems),
    );
    const words = Object.entries(numbers.words).flatMap(([word, gloss]) => [
      make("dt", {}, word),
      make("dd", {}, gloss),
    ]);
    const glossary = make(
      "details",
      { className: "fp-words" },
      make("summary", {}, "What the words mean"),
      make("dl", {}, ...words),
    );
    return [...made, settings, glossary];
  }

  function row(control) {
    const { name } = control;
    const field = controlRow(control, id, {
      move: (value) => move(name, value),
      begin: () => (lastName = null),
      back: () => back(name),
    });
    fields.set(name, field);
    return field.element;
  }

  // What happens when a control is moved

  function move(name, value) {
    const now = performance.now();
    if (!state.fixed && (name !== lastName || now - lastTime > ONE_MOVE_MS)) {
      state.before = state.shot;
      state.moved = [];
    }
    [lastName, lastTime] = [name, now];
    if (!state.moved.includes(name)) state.moved.push(name);
    state.controls = afterMove(state.controls, name, value, hold.checked, numbers);
    soon();
  }

  /** An emptied box has its number again, the last good one where the present one cannot be. */
  function back(name) {
    if (state.problem?.controls.includes(name)) move(name, valueOf(state.shot.controls, name, numbers));
    else show();
  }

  function soon() {
    if (!frame) frame = requestAnimationFrame(work);
  }

  function work() {
    frame = 0;
    compute();
    show();
    draw();
    clearTimeout(rest);
    rest = setTimeout(settle, REST_MS);
  }

  function compute() {
    const shot = shotOf(state.controls, numbers);
    state.problem = shot.problem ?? null;
    if (state.problem) return;
    state.shot = shot;
    state.others = othersOf(shot, numbers);
    state.ranges = rangesOf(state.others);
    state.extent = widest(state.extent, neededExtent());
  }

  const neededExtent = () =>
    extentOf(
      [
        ...(state.shot ? [state.shot.flight] : []),
        ...state.others.map((other) => other.flight),
        ...(state.before ? [state.before.flight] : []),
      ],
      state.target,
      1 / unitsOf(numbers, state.system).of("carry_m").factor,
    );

  const widest = (a, b) => (a ? Object.fromEntries(Object.keys(b).map((key) => [key, Math.max(a[key], b[key])])) : b);

  /** When the hand rests: the sentence, the words for canvases, the scale, and whoever listens. */
  function settle() {
    state.extent = neededExtent();
    draw();
    say();
    const reading = read();
    listeners.forEach((listener) => listener(reading));
  }

  function say() {
    if (!state.shot) return;
    const { problem, offered } = state;
    const movable = !offered || offered.some((name) => name !== "hold_path");
    const mattered = whatMattered(state.before, state.shot, state.moved, hold.checked, numbers, state.system);
    const last = mattered ?? (movable ? BEGIN : null);
    const clauses = [
      ...(problem ? [noSuchShot(problem)] : []),
      ...whyOf(state.shot, state.ranges, numbers, state.system),
      ...(last && !problem ? [last] : []),
    ];
    const joined = clauses.map(spoken).join(" ");
    if (joined !== state.why) {
      state.why = joined;
      why.replaceChildren(
        ...clauses.map((clause) =>
          make(
            "span",
            { className: clause === last ? "fp-mattered" : "" },
            ...bold(clause),
            " ",
          ),
        ),
      );
    }
    const { controls, arc_bottom_fwd_mm: low, arc_azimuth_deg: turned } = state.shot;
    flights.setAttribute(
      "aria-label",
      `The flight from the side and from above. ${state.hidden.has("why") ? "" : state.why}`,
    );
    strikes.setAttribute(
      "aria-label",
      `The strike from above: path ${toSide(controls.path_out_deg)}, face ${toSide(controls.face_open_deg)}. ` +
        "The arc face-on: " +
        `attack ${sayControl(byName.attack_up_deg, controls.attack_up_deg, state.system)}, lowest ` +
        `${sayControl(byName.arc_bottom_fwd_mm, low, state.system)}, arc pointing ${toSide(turned)}.`,
    );
  }

  function noSuchShot(problem) {
    const outside = outsideOf(problem, toldAt(problem), state.controls, numbers, state.system);
    return ["No such shot:", outside || problem.found.replace(/\.$/, ""), "; the last good flight stays."];
  }

  /** The control beside which a problem is told: the one that was moved, where it is concerned. */
  const toldAt = (problem) => (problem.controls.includes(lastName) ? lastName : problem.controls[0]);
  const words = () => wordsOf(state.problem, toldAt(state.problem), state.controls, numbers, state.system);

  /** Put the state into controls and table. */
  function show() {
    const { problem, offered, shot } = state;
    const shut = (name) => offered !== null && !offered.includes(name);
    const told = problem && toldAt(problem);
    for (const [name, field] of fields) {
      const wrong = Boolean(problem?.controls.includes(name));
      const said = told === name ? words() : "";
      field.show(valueOf(state.controls, name, numbers), state.system, shut(name), said, wrong);
    }
    hold.disabled = shut("hold_path");
    if (!shot) return;
    const points = toSide(shot.arc_azimuth_deg);
    arcNote.textContent = hold.checked
      ? `The path stays while attack moves: the arc turns instead, and now points ${points}.`
      : `The arc points ${points} and stays so: attack takes the path along with it.`;
    table.show(state, unitsOf(numbers, state.system));
  }

  function draw() {
    const scene = { ...state, numbers, units: unitsOf(numbers, state.system) };
    // a notebook builds the page before it gives it a place
    if (look.flightsWide > 120) drawFlights(flights, look, look.flightsWide, scene);
    if (look.strikesWide > 120) drawStrike(strikes, look, look.strikesWide, scene);
  }

  /** Read colours, letters and widths from the style, where light, dark and narrow are decided. */
  function measure() {
    const style = getComputedStyle(root);
    const colour = (name) => style.getPropertyValue(`--fp-${name}`).trim();
    const names = [
      "paper",
      "ink",
      "quiet",
      "line",
      "flight",
      "faint",
      "band",
      "before",
      "path",
      "pathText",
      "face",
      "faceText",
      "target",
      "soft",
    ];
    look = Object.fromEntries(names.map((name) => [name, colour(name)]));
    look.font = style.fontFamily;
    look.size = 13;
    look.flightsWide = flights.parentElement.clientWidth;
    look.strikesWide = strikes.parentElement.clientWidth;
    if (state.shot) draw();
  }

  /** Measure once a change of theme is through: JupyterLab hides all while it loads the new style. */
  function restyle() {
    clearTimeout(restyling);
    restyling = setTimeout(() => {
      measure();
      if (!look.flightsWide && root.isConnected) restyle();
    }, 100);
  }

  /** Set the sliders' ends, steps and units for the chosen system. */
  function relabel() {
    for (const field of fields.values()) field.relabel(state.system);
    systems.value = state.system;
  }

  // The interface

  function set(changes) {
    for (const name of Object.keys(changes)) {
      if (!(name in byName) && name !== "hold_path") throw new Error(`There is no control ${name}.`);
    }
    const { hold_path: holds, ...others } = changes;
    if (holds !== undefined) hold.checked = holds;
    // the club first, since it brings its usual swing
    const given = Object.keys(others).filter((name) => name !== "club" && name !== "arc_bottom_fwd_mm");
    const names = Object.keys(others).filter((name) => others[name] !== valueOf(state.controls, name, numbers));
    if (names.length && !state.fixed) [state.before, state.moved] = [state.shot, []];
    for (const name of names.sort((a, b) => (b === "club") - (a === "club"))) {
      state.controls = afterMove(state.controls, name, others[name], hold.checked, numbers);
      state.moved.push(name);
      lastName = name;
    }
    // what is given stays as given, also where it is what it was: neither club nor arc takes it along
    for (const name of given) state.controls[name] = others[name];
    cancelAnimationFrame(frame);
    frame = 0;
    compute();
    show();
    clearTimeout(rest);
    settle();
    return read();
  }

  function read() {
    if (frame) {
      cancelAnimationFrame(frame);
      work();
    }
    return {
      ...stateOf(state.shot, state.ranges),
      controls: { ...state.controls, hold_path: hold.checked },
      problem: state.problem ? words() : "",
      why: state.why,
    };
  }

  function answer(controls) {
    const asked = { ...begin(), ...controls };
    const shot = shotOf(asked, numbers);
    const { problem } = shot;
    if (problem) return { problem: wordsOf(problem, problem.controls[0], asked, numbers, state.system) };
    return { ...stateOf(shot, rangesOf(othersOf(shot, numbers))), problem: "" };
  }

  function stateOf(shot, ranges) {
    const { launch, face_to_path_deg, arc_azimuth_deg, arc_bottom_fwd_mm } = shot;
    const { track, ...flight } = shot.flight;
    return { launch, flight, ranges, face_to_path_deg, arc_azimuth_deg, arc_bottom_fwd_mm };
  }

  function target(what) {
    state.target = null;
    if (what && what.controls) {
      const shot = shotOf({ ...state.controls, ...what.controls }, numbers);
      if (shot.problem) throw new Error(`The target cannot be flown: ${shot.problem.found}`);
      state.target = { radius_m: 5, label: "target", ...what, ...shot.flight };
    } else if (what && "carry_m" in what) {
      const downrange_m = Math.sqrt(Math.max(what.carry_m ** 2 - (what.side_m ?? 0) ** 2, 0));
      state.target = { radius_m: 5, side_m: 0, label: "target", ...what, downrange_m };
    }
    settle();
  }

  function offer(names) {
    state.offered = names && names.length ? [...names] : null;
    show();
    settle();
  }

  function hide(parts) {
    state.hidden = new Set(parts);
    why.hidden = state.hidden.has("why");
    table.element.parentElement.hidden = state.hidden.has("numbers");
    strikes.parentElement.hidden = state.hidden.has("impact") && state.hidden.has("arc");
    show();
    settle();
  }

  function units(name) {
    if (!(name in numbers.shown)) throw new Error(`There are no units ${name}.`);
    state.system = name;
    state.extent = null;
    relabel();
    show();
    settle();
  }

  function compare(fixed) {
    state.fixed = fixed;
    state.before = fixed ? state.shot : null;
    state.moved = [];
    lastName = null;
    keep.setAttribute("aria-pressed", String(fixed));
    show();
    settle();
  }

  function forget() {
    compare(false);
  }

  function on(listener) {
    listeners.add(listener);
    return () => listeners.delete(listener);
  }

  function remove() {
    widthWatch.disconnect();
    themeWatch.disconnect();
    dark.removeEventListener("change", measure);
    cancelAnimationFrame(frame);
    clearTimeout(rest);
    clearTimeout(restyling);
    root.remove();
  }

  // Everything begins

  hold.addEventListener("change", () => {
    show();
    settle();
  });
  keep.addEventListener("click", () => compare(!state.fixed));
  again.addEventListener("click", () => {
    state.controls = begin();
    hold.checked = Boolean(options.controls?.hold_path);
    compute();
    forget();
  });
  systems.addEventListener("change", () => units(systems.value));
  const widthWatch = new ResizeObserver(measure);
  const themeWatch = new MutationObserver(restyle);
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  relabel();
  compute();
  if (!state.shot) {
    // what was asked for cannot be: it stays on the controls and is told there, over a flight that can be
    const { controls, problem } = state;
    state.controls = { ...numbers.start };
    compute();
    Object.assign(state, { controls, problem });
  }
  show();
  measure();
  settle();
  widthWatch.observe(flights.parentElement);
  widthWatch.observe(strikes.parentElement);
  themeWatch.observe(document.body, {
    attributes: true,
    attributeFilter: ["data-jp-theme-light", "data-jp-theme-name"],
  });
  dark.addEventListener("change", measure);
  return root.flightPage;
}

/** The widget: what Python sets moves the page, and what the trainee moves is told to Python when the hand rests. */
export default {
  render({ model, el }) {
    const page = createFlightPage(el, model.get("numbers"), {
      controls: model.get("controls"),
      system: model.get("units"),
    });
    let own = false; // whether a change comes from the page itself
    const tell = (reading) => {
      own = true;
      model.set("controls", reading.controls);
      model.set("reading", reading);
      model.save_changes();
      own = false;
    };
    const heard = {
      controls: () => own || page.set(model.get("controls")),
      units: () => page.units(model.get("units")),
      target: () => page.target(model.get("target")),
      offered: () => page.offer(model.get("offered")),
      hidden: () => page.hide(model.get("hidden")),
      begun: () => {
        page.set(model.get("controls"));
        page.forget();
      },
    };
    if (model.get("target")) page.target(model.get("target"));
    if (model.get("offered").length) page.offer(model.get("offered"));
    if (model.get("hidden").length) page.hide(model.get("hidden"));
    for (const [name, act] of Object.entries(heard)) model.on(`change:${name}`, act);
    page.on(tell);
    tell(page.read());
    return () => {
      for (const [name, act] of Object.entries(heard)) model.off(`change:${name}`, act);
      page.remove();
    };
  },
};
