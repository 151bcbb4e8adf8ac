// What the script reads (written by cli/sheet/content.py and forgotten.py), what it keeps of an evening, and its elements.

interface Dose { name: string; amount: number; unit: string }
interface Step {
  id: string; number: number; name: string;
  hold?: true; doses?: Dose[]; service?: string; tote?: number; vital?: true; stop?: true;
}
interface Alarm { minute: number; text: string; last?: boolean }
interface Clock {
  id: string; name: string; kind: "drain" | "fill" | "draw" | "wait"; starts: string; ends: string;
  early: number; predicted: number; late: number; alarms: Alarm[]; stopped: string;
}
// Minute, chlorine [mg/L], dose [g], dose [mL]; no dose where the agent is given in the other.
type LateRow = [number, number, number | null, number | null];
interface Late { agent: string; from_tote: LateRow[][] }
interface Plan {
  id: string; day: string; tank: string; share: number; volume_l: number; steps: Step[]; clocks: Clock[]; late: Late | null;
}

// Times are milliseconds since 1970, of the sheet's own clock.
interface Run { start: number; stop?: number; jump?: number }
interface Timed { runs: Run[]; answered: number; byTick?: boolean; lost?: "call" | "said" }
interface Added { at: number; text: string; half?: string }
interface State {
  ticks: Record<string, number>; clocks: Record<string, Timed>; typed: Record<string, string>; added: Added[];
  wiped: State | null; saves?: number;
}
interface Flow { name: string; since: number }
interface Earlier { at: number; tank: string; last: string; text: string; csv: string; file: string; still: Flow[] }

// What a row of the file says beside who, when and what.
interface Cells { share?: string; doses?: string; part?: string; words?: string }

interface Point { x: number; y: number }
interface Press { at: number; point: Point | null; control: PageElement; checked: boolean; words: string }

// The script is made for its page, so what it asks for is there, and is the control that it takes it for; the browser tests
// hold the two together.
interface PageElement extends HTMLInputElement { href: string; readonly control: PageElement | null }
interface Document { getElementById(id: string): PageElement }
interface ParentNode {
  querySelector(selector: string): PageElement;
  querySelectorAll(selector: string): NodeListOf<PageElement>;
}
interface Element { closest(selector: string): PageElement | null }
interface Window { webkitAudioContext?: typeof AudioContext }
