// What goes between server and page, for the type checker only; it is not served.

type Point = [number, number];
type Matrix = [number, number, number, number, number, number];

interface Label { key: string; name?: string }

interface FindingView { code: string; severity: 'note' | 'warning' | 'serious'; where: string; message: string; remedy: string }

interface EdgeSpec {
  id: string; kind: string; source: 'trace' | 'contact' | 'strip'; shape: string; targets: string[]; search: number;
  photo?: string; sheet?: string; path?: Point[]; height?: number; choose?: number;
}
interface LoopSpec { id: string; edges: string[]; closed?: boolean }
interface Job {
  name?: string; units?: 'in' | 'mm'; tolerance?: number; paper?: Record<string, any>; lengths?: any[]; cabinets?: any[]; markers?: any[];
  edges?: EdgeSpec[]; loops?: LoopSpec[]; pieces?: any[]; openings?: any[]; appliances?: any[]; shop?: Record<string, any>;
  leave_out?: string[]; [key: string]: any;
}

interface TargetView { id: string; n: number; hull: Point[] }
interface PhotoView {
  id: string; file: string; version: string; bytes: number; state: 'waiting' | 'looking' | 'seen' | 'bad'; used: boolean;
  trouble: Said | null;
  seen?: { size: Point; orientation: number; taken: string; camera: string; points: number; targets: TargetView[]; findings: FindingView[] };
}
interface Said { error: string; detail: string; facts: Record<string, string> }

interface Candidate { offset: number; height: number; support: number; choose: number | null; xy: Point[] }
interface Stretch { xy: Point[]; U: number[]; box?: number[]; runs?: [string, number, number][]; runsFor?: number; paths?: [string, Path2D][]; pathsFor?: unknown }
interface EdgeView extends Stretch {
  id: string; found: boolean; hint: Point[] | null; kind: string; shape: string; source: string; loop: string; more: Stretch[];
  seen: [Point, Point]; n_photos: number; n_points: number; height: number[]; length: number; length_U: number | null; offset_U: number[]; rms: number | null;
  budget: [string, number][]; candidates: Candidate[]; choose_now: number | null;
}
interface CornerView { xy: Point; r: (number | null)[]; angle: number }
interface LoopView { id: string; edges: string[]; closed: boolean; corners: CornerView[] }
interface SheetView { id: string; kind: string; corners: Point[]; centre: [number, number, number]; box?: number[] }
interface StripView { id: string; points: [number, number, number][]; box?: number[] }
interface Verdict { state: 'good' | 'look' | 'short'; words: string; sentence: string; remedy: string }
interface SizeView { name: string; value: number; U: number; unit: string; start: Point; end: Point; group: string; decided: boolean }
interface PieceView {
  id: string; source: string; shape: Point[]; edges: any[]; corners: any[]; cutouts: any[]; holes: any[]; sizes: SizeView[];
  area: number; area_U: number; weight: number;
}
interface StoneView {
  pieces?: PieceView[]; splashes: any[]; seams: any[]; proposals: any[]; opening_sizes: SizeView[]; appliances: any[]; centres?: any[]; checks: any[];
  shims: any[]; cautions: { text: string }[]; findings: FindingView[]; trouble?: string; where?: string; value?: number | null; nearest?: number | null;
}
interface Result {
  drawn?: boolean;
  revision: string; name: string; unscaled: boolean; withheld?: boolean; tolerance: number; plan: number[][]; bounds: number[]; edges: EdgeView[];
  loops: LoopView[]; sheets: SheetView[]; strips: StripView[]; heights: any[]; lengths: any[]; photos: Record<string, any>;
  walls: Record<string, string[]>; shaping?: boolean; inside?: Record<string, number>; sigma0: number; findings: FindingView[]; cautions: { text: string }[]; verdicts: Record<string, Verdict>; stone: StoneView | null; distances: any[];
}
interface Proposal {
  key: string; kind: string; source: string; shape: string; targets: string[]; confidence: number; path: Point[] | null; line: Point[];
  search: number; height: number; reading: { text: string } | null; second: { text: string } | null;
}
interface Written { files: { name: string; file: string; bytes: number }[]; unscaled: boolean; revision: string; trouble: string }
interface TopView { key: string; size: Point; levels: number; matrix: Matrix }
interface Work { state: string; stage: string; share: number; [key: string]: any }

// What a layer of a picture needs of the view it is drawn in
interface View {
  width: number; height: number; ratio: number; matrix(): number[]; draw(): void; view?: { x: number; y: number; k: number; turn: number };
  rough?: boolean; lift?: number; taken?: number[][];
}
interface Layer { paint(ctx: CanvasRenderingContext2D, view: any): void; hidden?: boolean }
interface Held { move(world: Point, screen: Point): void; drop(world: Point): void; cancel?(): void }

// A thing near a place on the screen
interface Near { kind: 'corner' | 'edge'; loop?: string; corner?: number; edge?: string; xy: Point; d: number }

interface Window { phototemplateStage: any }
