// Draws the county's map, or lets a place be tapped on it. Everything on it also stands in a table or in fields.
const SVG = "http://www.w3.org/2000/svg";
const SHAPES = {
  none: () => [["circle", { cx: 0, cy: 0, r: 0.35 }]],
  planned: () => [["circle", { cx: 0, cy: 0, r: 0.8 }]],
  prepared: () => [["path", { d: "M0 -.9 L.9 .75 L-.9 .75 Z" }]],
  sown: () => [["path", { d: "M0 -1 L1 0 L0 1 L-1 0 Z" }]],
  aftercare: () => [["circle", { cx: 0, cy: 0, r: 0.9 }], ["circle", { cx: 0, cy: 0, r: 0.3, class: "eye" }]],
  ended: () => [["path", { d: "M-.75 -.75 L.75 .75 M-.75 .75 L.75 -.75" }]],
};

function sign(shape, size, framed = false) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "-1.25 -1.25 2.5 2.5");
  svg.setAttribute("width", size);
  svg.setAttribute("height", size);
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("class", `sign-${shape}`);
  const frame = framed ? [["rect", { x: -1.2, y: -1.2, width: 2.4, height: 2.4, class: "frame" }]] : [];
  for (const [name, attributes] of [...frame, ...(SHAPES[shape] || SHAPES.none)()]) {
    const part = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, value);
    svg.append(part);
  }
  return svg;
}

// The side in pixels grows with the logarithm of the area: a garden stays visible beside a field.
const sizeOf = (area) => Math.round(Math.min(34, 12 + 4.5 * Math.log10(Math.max(area, 1))));

function words(tag, text, kind) {
  const part = document.createElement(tag);
  part.textContent = text;
  if (kind) part.className = kind;
  return part;
}

function told(site) {
  const box = document.createElement("div");
  const link = words("a", site.name);
  link.href = site.url;
  box.append(link, words("p", `${site.group}. ${site.area}. ${site.stage}.${site.found ? ` Walk: ${site.found}.` : ""}`), words("p", `Where: ${site.where}`));
  return box;
}

function draw(place, data, sites) {
  const map = L.map(place, { attributionControl: false, scrollWheelZoom: false, zoomSnap: 0.25, maxZoom: 17 });
  const bounds = L.latLngBounds([]);
  for (const ring of data.outline) {
    bounds.extend(L.polygon(ring, { className: "map-county", interactive: false }).addTo(map).getBounds());
  }
  for (const district of data.districts) {
    for (const ring of district.outline) L.polygon(ring, { className: "map-district", interactive: false }).addTo(map);
  }
  const names = data.villages.map((village) => {
    bounds.extend(village.at);
    const icon = L.divIcon({ className: "map-village", iconSize: null, html: words("span", village.name) });
    return L.marker(village.at, { icon, interactive: false, keyboard: false }).addTo(map);
  });
  for (const site of sites) bounds.extend(site.at);
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [14, 14] });
  else map.setView([54, -2], 6);
  const thin = () => thinOut(map, names, sites);
  map.on("zoomend resize", thin);
  thin();
  return map;
}

// Names that would lie on another name or on a site are left out until there is room for them.
function thinOut(map, names, sites) {
  const taken = sites.map((site) => {
    const half = sizeOf(site.area_m2) / 2;
    const at = map.latLngToContainerPoint(site.at);
    return L.bounds(at.subtract([half, half]), at.add([half, half]));
  });
  for (const name of names) {
    const label = name.getElement().firstChild;
    const half = L.point(label.offsetWidth / 2 + 3, label.offsetHeight / 2);
    const at = map.latLngToContainerPoint(name.getLatLng());
    const box = L.bounds(at.subtract(half), at.add(half));
    const free = !taken.some((other) => other.intersects(box));
    label.classList.toggle("map-left-out", !free);
    if (free) taken.push(box);
  }
}

function showSites(map, data) {
  const sites = [...data.sites].sort((a, b) => b.area_m2 - a.area_m2);
  for (const site of sites) {
    if (site.geometry) {
      const kind = site.square ? "map-square" : "map-outline";
      L.geoJSON(site.geometry, { style: { className: kind }, interactive: false }).addTo(map);
    }
    const size = sizeOf(site.area_m2);
    const icon = L.divIcon({ className: "map-site", iconSize: [size, size], html: sign(site.shape, size, site.square) });
    const marker = L.marker(site.at, { icon, title: site.name }).addTo(map).bindPopup(() => told(site));
    const found = site.found ? `, ${site.found}` : "";
    marker.getElement().setAttribute("aria-label", `${site.name}: ${site.stage}${found}, ${site.area}, ${site.where}`);
  }
}

function pick(map) {
  const field = (name) => document.querySelector(`[name="${name}"]`);
  const latitude = field("latitude");
  const longitude = field("longitude");
  let marker = null;
  const put = (at) => {
    const icon = L.divIcon({ className: "map-site", iconSize: [26, 26], html: sign("planned", 26) });
    if (marker) marker.setLatLng(at);
    else marker = L.marker(at, { icon, keyboard: false }).addTo(map);
  };
  map.on("click", (event) => {
    latitude.value = event.latlng.lat.toFixed(5);
    longitude.value = event.latlng.lng.toFixed(5);
    for (const name of ["grid_reference", "village_id"]) field(name).value = "";
    put(event.latlng);
    document.getElementById("map-help").textContent =
      `Filled in: latitude ${latitude.value}, longitude ${longitude.value}. Tap again to move it.`;
  });
  if (latitude.value && longitude.value && Number.isFinite(+latitude.value) && Number.isFinite(+longitude.value)) {
    put([+latitude.value, +longitude.value]);
  }
}

async function begin() {
  const place = document.getElementById("map");
  if (!place || typeof L === "undefined") return;
  const answer = await fetch(place.dataset.map, { headers: { Accept: "application/json" } });
  if (!answer.ok) return;
  const data = await answer.json();
  const choosing = "pick" in place.dataset;
  if (!choosing && !data.sites.length && !data.outline.length) return;
  place.hidden = false;
  const map = draw(place, data, choosing ? [] : data.sites);
  if (choosing) {
    document.getElementById("map-help").hidden = false;
    pick(map);
  } else {
    showSites(map, data);
    const legend = document.getElementById("legend");
    legend.querySelectorAll(".sign").forEach((box) => box.append(sign(box.dataset.shape, 20)));
    legend.hidden = false;
  }
}

begin();
