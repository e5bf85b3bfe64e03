
// Each picture of a head's way in motion. Without it they stand still and show all of the way.
for (const way of document.querySelectorAll(".way")) {
  const [button, place, speed, output] = way.querySelectorAll("button, input, select, output");
  const work = way.querySelector(".work"), head = way.querySelector(".head");
  const zero = work.dataset.zero.split(" ").map(Number), travel = +work.dataset.travel, lift = +work.dataset.lift;
  const paths = [...work.children], clones = paths.map(path => path.cloneNode());
  let legs, total = 0, now = 0, last = 0, playing = 0;
  const read = () => {
    // A leg is the idle way to a stroke and the stroke: when each begins, where it leads, how much of the data goes before.
    legs = [];
    let at = zero;
    paths.forEach((path, pass) => {
      const data = path.getAttribute("d"), speed = +path.dataset.speed, first = legs.length;
      let pen = [0, 0], offset = 0;
      for (const text of data.split("m").slice(1)) {
        const steps = text.match(/-?\d+/g).map(Number), points = [];
        for (let i = 0; i < steps.length; i += 2) points.push(pen = [pen[0] + steps[i], pen[1] + steps[i + 1]]);
        const long = points.slice(1).map((p, i) => Math.hypot(p[0] - points[i][0], p[1] - points[i][1]));
        const begin = total, down = begin + Math.hypot(points[0][0] - at[0], points[0][1] - at[1]) / travel;
        total = down + lift + long.reduce((a, b) => a + b, 0) / speed;
        legs.push({pass, begin, down, ready: down + lift, speed, from: at, points, long, data: data.slice(0, offset)});
        offset += text.length + 1;
        at = pen;
      }
      for (const leg of legs.slice(first)) leg.of = legs.length - first;
      legs.slice(first).forEach((leg, i) => leg.number = i + 1);
    });
    const down = total + Math.hypot(at[0] - zero[0], at[1] - zero[1]) / travel;
    legs.push({pass: paths.length, begin: total, down, from: at, points: [zero]});
    total = legs.at(-1).down;
    clones.forEach(clone => { clone.classList.add("done"); work.append(clone); });
    way.classList.add("on");
  };
  const said = seconds => seconds < 90 ? Math.round(seconds) + " s" : Math.round(seconds / 60) + " min";
  const show = () => {
    let low = 0, high = legs.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (legs[middle].begin <= now) low = middle; else high = middle - 1;
    }
    const leg = legs[low], share = (a, b, k) => [a[0] + k * (b[0] - a[0]), a[1] + k * (b[1] - a[1])];
    let at = leg.points[0], text = leg.data || "";
    if (now < leg.down) at = share(leg.from, at, (now - leg.begin) / (leg.down - leg.begin));
    else if (now > leg.ready) {
      let left = (now - leg.ready) * leg.speed, i = 0, done = [at];
      while (i < leg.long.length && left >= leg.long[i]) left -= leg.long[i++], done.push(leg.points[i]);
      if (i < leg.long.length) done.push(share(leg.points[i], leg.points[i + 1], left / leg.long[i]));
      at = done.at(-1);
      text += "M" + done.map(p => p.map(n => n.toFixed(1)).join(" ")).join(" ");
    }
    clones.forEach((clone, pass) =>
      clone.setAttribute("d", pass < leg.pass ? paths[pass].getAttribute("d") : pass === leg.pass ? text : ""));
    head.setAttribute("cx", at[0]);
    head.setAttribute("cy", at[1]);
    head.classList.toggle("down", now >= leg.down && leg.pass < paths.length);
    place.value = 1000 * now / total;
    const what = leg.number ? paths[leg.pass].dataset.tool + ", stroke " + leg.number + " of " + leg.of : "home";
    output.textContent = said(now) + " of " + said(total) + ": " + what;
  };
  const stop = () => { cancelAnimationFrame(playing); playing = 0; button.textContent = "Play"; };
  const step = time => {
    now = Math.min(total, now + (time - last) / 1000 * speed.value);
    last = time;
    show();
    if (now < total) playing = requestAnimationFrame(step); else stop();
  };
  button.onclick = () => {
    if (!legs) read();
    if (playing) return stop();
    if (now >= total) now = 0;
    button.textContent = "Pause";
    playing = requestAnimationFrame(time => { last = time; step(time); });
  };
  place.oninput = () => {
    if (!legs) read();
    now = place.value / 1000 * total;
    show();
  };
  button.parentElement.hidden = false;
}
