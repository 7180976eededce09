// What decides in the page. Unit first, then what it is and where it comes from.

/** px. Side of a tile. Convention: constants.py has the same. */
export const TILE = 512;
/** count. Pictures kept decoded. Derived: 120 tiles of 1 MB stay below what a phone gives a page. */
export const KEPT_TILES = 120;
/** byte. Largest photo taken. Convention: constants.py has the same. */
export const UPLOAD_LIMIT = 80 * 1024 * 1024;
/** count. Uploads at a time. Convention: three keep a disk busy. */
export const UPLOADS_AT_ONCE = 3;
/** mm. Another line farther from the edge than this is not offered. Chosen on: not recorded. */
export const OTHER_LINE_MM = 30;
/** ratio. A known length off by more than this many standard deviations is to be looked at. Convention: about one in a hundred. */
export const LENGTH_OFF = 2.5;
/** mm. An edge may run past a corner by `near`, and have gone unseen before one by `far`, which is said. Convention: half a cabinet's front frame; the widest usual base cabinet, 36 in. */
export const JOINING_MM = { near: 150, far: 914.4 };
/** ratio. A proposal below this is never counted among the sure ones. Chosen on: not recorded (that of `propose --write` is 0.3). */
export const SURE = 0.9;
/** mm. Sizes of what is placed by pressing, to be put right in its form. Convention: a usual sink, cooktop, range, post. */
export const PLACED_MM = { setback: 76.2, sink: [762, 406.4], cooktop: [749.3, 520.7], range: 762, post: [304.8, 101.6] };
/** mm. Gap between two tops that may be meant for an appliance, from and to. Convention: the narrowest cooker, two double ranges. */
export const APPLIANCE_GAP_MM = [250, 1600];
/** mm. What a dragged place snaps to. Convention: 1/8 in on a tape, 1 mm on a rule. */
export const SNAP_IN_MM = 3.175, SNAP_MM = 1;
/** mm. What is usual, from and to, by what a length is for. Convention: rooms, cabinets and slabs as they are built. */
export const USUAL_MM = {
  known: /** @type {[number, number]} */ ([150, 9000]),
  u: /** @type {[number, number]} */ ([0.005, 5]),
  tolerance: /** @type {[number, number]} */ ([0.2, 10]),
  thickness: /** @type {[number, number]} */ ([0, 60]),
  search: /** @type {[number, number]} */ ([1, 150]),
  size: /** @type {[number, number]} */ ([-5000, 5000]),
};
