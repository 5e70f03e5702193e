// The photo with everything drawn on it. OpenLayers pans and zooms; what lies on the photo is painted by paint.js in
// the same frame. Places are photo pixels, centres at integers, y down; the map's own y runs up.
import OlMap from "ol/Map.js";
import View from "ol/View.js";
import { defaults } from "ol/interaction/defaults.js";
import PointerInteraction from "ol/interaction/Pointer.js";
import ImageLayer from "ol/layer/Image.js";
import Layer from "ol/layer/Layer.js";
import ImageStatic from "ol/source/ImageStatic.js";
import Projection from "ol/proj/Projection.js";
import { easeOut } from "ol/easing.js";

const CROSS_STEP = 10; // CSS px that one arrow key moves the cross
const calm = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Chart {
  /**
   * @param {HTMLElement} target
   * @param {(context: CanvasRenderingContext2D, frame: object) => void} paint
   * @param {{down, drag, up, tap}} hand what a press does; `down` says whether it takes hold (else the photo pans)
   */
  constructor(target, paint, hand) {
    this.target = target;
    this.paint = paint;
    this.hand = hand;
    this.cross = null; // CSS px, while the photo has the keyboard
    this.held = false; // by keyboard
    this.canvas = document.createElement("canvas");
    this.canvas.className = "drawn";
    const chart = this;
    this.map = new OlMap({
      target,
      controls: [],
      interactions: defaults({ doubleClickZoom: false, keyboard: false, altShiftDragRotate: false, pinchRotate: false,
        shiftDragZoom: false }),
      moveTolerance: 6,
    });
    this.map.addInteraction(new PointerInteraction({
      handleDownEvent: (event) => !event.originalEvent.button && event.activePointers.length === 1 &&
        hand.down(chart.place(event.pixel), chart.tolerance(event.originalEvent)),
      handleDragEvent: (event) => {
        if (event.activePointers.length === 1) hand.drag(chart.place(event.pixel));
      },
      handleUpEvent: (event) => {
        hand.up(chart.place(event.pixel));
        return false;
      },
    }));
    this.map.on("click", (event) => hand.tap(this.place(event.pixel), this.tolerance(event.originalEvent)));
    new ResizeObserver(() => this.map.updateSize()).observe(target);
    target.addEventListener("keydown", (event) => this.key(event));
    target.addEventListener("focus", () => {
      if (target.matches(":focus-visible")) this.showCross();
    });
    target.addEventListener("blur", () => {
      this.cross = null;
      this.redraw();
    });
    target.addEventListener("pointerdown", () => {
      this.cross = null;
      this.redraw();
    });
  }

  /** Show a work's photo. */
  show(id, width, height) {
    this.size = [width, height];
    const extent = [-0.5, -(height - 0.5), width - 0.5, 0.5];
    const projection = new Projection({ code: "photo", units: "pixels", extent });
    const picture = (name, finer, coarser) => new ImageLayer({
      source: new ImageStatic({ url: `/api/works/${id}/${name}.jpg`, imageExtent: extent, projection }),
      minResolution: finer, maxResolution: coarser,
    });
    const zoomed = Math.max(width, height) / 2048;
    const drawn = new Layer({
      source: new ImageStatic({ url: "/static/icon.svg", imageExtent: extent, projection, imageLoadFunction() {} }),
      render: (frame) => this.render(frame),
    });
    this.map.setView(new View({ projection, extent, showFullExtent: true, center: [width / 2, -height / 2],
      resolution: 1, minResolution: 0.1, smoothExtentConstraint: false, smoothResolutionConstraint: false,
      constrainOnlyCenter: true, multiWorld: true, enableRotation: false,
      maxResolution: 1.5 * Math.max(width / this.target.clientWidth, height / this.target.clientHeight) }));
    this.map.setLayers([picture("screen", undefined, undefined), ...(zoomed > 1 ? [picture("full", undefined, zoomed * 0.7)] : []),
      drawn]);
    this.drawn = drawn;
    this.fit();
  }

  clear() {
    this.map.setLayers([]);
    this.drawn = null;
  }

  fit(ring) {
    let extent = [0, -this.size[1], this.size[0], 0];
    if (ring?.length) {
      const xs = ring.filter((_, i) => i % 2 === 0), ys = ring.filter((_, i) => i % 2 === 1);
      extent = [Math.min(...xs), -Math.max(...ys), Math.max(...xs), -Math.min(...ys)];
    }
    this.map.updateSize();
    this.map.getView().fit(extent, { padding: [14, 14, 62, 14], duration: ring && !calm() ? 250 : 0, easing: easeOut });
  }

  zoom(factor, about) {
    const view = this.map.getView();
    view.cancelAnimations();
    view.adjustResolution(1 / factor, about && this.map.getCoordinateFromPixel(about));
  }

  place(pixel) {
    const [x, y] = this.map.getCoordinateFromPixel(pixel);
    return [x, -y];
  }

  pixel([x, y]) {
    return this.map.getPixelFromCoordinate([x, -y]);
  }

  /** Photo pixels to one CSS pixel. */
  get resolution() {
    return this.map.getView().getResolution() ?? 1;
  }

  /** How near a press must be to take hold, photo px: a thumb is wider than a mouse's arrow. */
  tolerance(event) {
    return (event?.pointerType === "mouse" ? 12 : 22) * this.resolution;
  }

  redraw() {
    this.drawn?.changed();
  }

  render(frame) {
    const [width, height] = frame.size, ratio = frame.pixelRatio;
    if (this.canvas.width !== Math.round(width * ratio) || this.canvas.height !== Math.round(height * ratio)) {
      this.canvas.width = Math.round(width * ratio);
      this.canvas.height = Math.round(height * ratio);
      this.canvas.style.width = `${width}px`;
      this.canvas.style.height = `${height}px`;
    }
    const context = this.canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    const { center, resolution } = frame.viewState;
    const left = center[0] - (width / 2) * resolution, top = -center[1] - (height / 2) * resolution;
    Object.assign(this.target.dataset, { left, top, resolution }); // photo px of the corner, and to one CSS px
    this.paint(context, { width, height, resolution, cross: this.cross, held: this.held,
      x: (px) => (px - left) / resolution, y: (py) => (py - top) / resolution });
    return this.canvas;
  }

  showCross() {
    this.cross ??= [this.target.clientWidth / 2, this.target.clientHeight / 2];
    this.redraw();
  }

  /** The keyboard's hand: arrows move a cross, Enter presses and lets go, + and - zoom, Escape lets go. */
  key(event) {
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const arrow = arrows[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey || !this.drawn) return;
    if (arrow) {
      this.showCross();
      const by = event.shiftKey ? 1 : CROSS_STEP;
      const [width, height] = [this.target.clientWidth, this.target.clientHeight];
      const to = [this.cross[0] + by * arrow[0], this.cross[1] + by * arrow[1]];
      const off = [Math.min(to[0] - 30, 0) + Math.max(to[0] - width + 30, 0),
        Math.min(to[1] - 30, 0) + Math.max(to[1] - height + 30, 0)];
      this.cross = [to[0] - off[0], to[1] - off[1]];
      if (off[0] || off[1]) {
        const view = this.map.getView(), [x, y] = view.getCenter();
        view.setCenter([x + off[0] * this.resolution, y - off[1] * this.resolution]);
        this.map.renderSync();
      }
      if (this.held) this.hand.drag(this.place(this.cross));
      this.redraw();
    } else if (event.key === "Enter" || event.key === " ") {
      this.showCross();
      const at = this.place(this.cross);
      if (this.held) {
        this.held = false;
        this.hand.up(at);
      } else if (this.hand.down(at, 22 * this.resolution)) this.held = true;
      else this.hand.tap(at, 22 * this.resolution);
      this.redraw();
    } else if (event.key === "+" || event.key === "=") this.zoom(1.5, this.cross);
    else if (event.key === "-") this.zoom(1 / 1.5, this.cross);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
  }
}
