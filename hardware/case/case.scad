// Case of the full and driven builds: two parts to print without supports, held by four screws from below through the board.
// dims.scad, with walls and heights, is made from hardware/board/placement.toml: `python -m hardware.case` writes it and base.stl and lid.stl.
include <dims.scad>
part = "base"; // base | base-driven | lid | both
lift = 30;  // of the lid in the picture
$fn = 40;

play = 0.25;
post = 6.8;
screw = 3.4;      // M3 x 16
nut = 4.1;        // heat-set nut M3; for a screw that cuts its own thread: 2.7
nut_deep = 8;

inside = [board_w + 2 * gap, board_h + 2 * gap];
outside = [inside[0] + 2 * wall, inside[1] + 2 * wall];
base_high = floor_ + standoff + board_thick + above;

function at(p) = [wall + gap + p[0], wall + gap + board_h - p[1]]; // board's place (from its upper left) to the case's

module round_box(size, r = 3) {
  linear_extrude(size[2]) offset(r) offset(-r) square([size[0], size[1]]);
}

module base(drive = false) {
  top = floor_ + standoff + board_thick; // where parts stand
  difference() {
    union() {
      difference() {
        round_box([outside[0], outside[1], base_high]);
        translate([wall, wall, floor_]) cube([inside[0], inside[1], base_high]);
      }
      for (h = holes) translate([at(h)[0], at(h)[1], 0]) cylinder(d = post, h = floor_ + standoff);
    }
    for (h = holes) translate([at(h)[0], at(h)[1], -1]) {
      cylinder(d = screw, h = base_high);
      cylinder(d = 6.4, h = 1 + 1.6); // the screw's head
    }
    // socket X1: the plug's hood passes
    translate([-1, at([0, socket_y])[1] - socket_wide / 2, top + socket_low]) cube([wall + gap + 2, socket_wide, socket_high]);
    // USB: the plug's own body passes
    translate([outside[0] - wall - 1, at([0, usb_y])[1] - usb_wide / 2, top + usb_mid - usb_high / 2]) cube([wall + 2, usb_wide, usb_high]);
    // two slots for a cable tie beside USB: the clamp of a captive cable
    tie_slots(usb_y, usb_wide, top + usb_mid);
    if (drive) {
      // cables of A1, U4 and S2, each with its plug housing: one after the other
      translate([outside[0] - wall - 1, at([0, cable_y])[1] - cable_wide / 2, top + cable_low]) cube([wall + 2, cable_wide, cable_high]);
      tie_slots(cable_y, cable_wide, top + cable_low + cable_high / 2);
    }
  }
}

module tie_slots(y, wide, mid) {
  for (s = [-1, 1]) translate([outside[0] - wall - 1, at([0, y])[1] + s * (wide / 2 + 4) - 1, mid - 2.5]) cube([wall + 2, 2, 5]);
}

module lid() {
  difference() {
    union() {
      round_box([outside[0], outside[1], floor_]);
      difference() {
        translate([wall + play, wall + play, floor_]) cube([inside[0] - 2 * play, inside[1] - 2 * play, lip]);
        translate([2 * wall, 2 * wall, floor_ - 1]) cube([inside[0] - 2 * wall, inside[1] - 2 * wall, lip + 2]);
      }
      for (h = holes) translate([at(h)[0], at(h)[1], 0]) cylinder(d = post, h = floor_ + above);
    }
    for (h = holes) translate([at(h)[0], at(h)[1], floor_ + above - nut_deep]) cylinder(d = nut, h = nut_deep + 1);
    translate([at(buzzer)[0], at(buzzer)[1], -1]) cylinder(d = 5, h = floor_ + 2);
    translate([at(button)[0], at(button)[1], -1]) cylinder(d = button_d, h = floor_ + 2);
    translate([at(light)[0], at(light)[1], -1]) cylinder(d = light_d, h = floor_ + 2);
  }
}

// The lid is printed lying on its outer face: seen so, left and right are exchanged.
module lid_to_print() { translate([outside[0], 0, 0]) mirror([1, 0, 0]) lid(); }

if (part == "base") base();
if (part == "base-driven") base(drive = true);
if (part == "lid") lid_to_print();
if (part == "both") {
  base();
  translate([outside[0], 0, base_high + floor_ + lift]) rotate([0, 180, 0]) lid_to_print();
}
