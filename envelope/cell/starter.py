"""The commented starter cell, from which a user's own cell grows."""

__all__ = ["starter_cell"]


def starter_cell() -> str:
    """The text of a small cell that passes as it stands, with every key explained."""
    return _STARTER


_STARTER = """\
# A palletizing cell. Plain numbers are in mm, deg, kg and s; a text with a unit is converted
# ("48 in", "22 lb", "0.6 m/s"). Keys behind a # are at their defaults: take the # away to
# change them. The world has z up, with z = 0 on the floor; yaw turns about the vertical,
# counter-clockwise as seen from above.
name: Starter cell

arm:
  model: spherical-2600-60          # `envelope arms` lists them; or the path of an arm file
  at: {x: 0, y: 0, z: 500, yaw: 0}  # where the mounting base stands
  pedestal: {size: [600, 600]}      # box from the floor to the base; leave out for none
  # usable: {joint 6: [-180, 180]}  # a joint's narrower range, for a hose pack say
  # joint_margin: 5                 # nearer to a joint's limit than this is marginal
  # slide_margin: 5                 # the same for a joint that slides
  # lift: {travel: [0, 800], speed: 250, acceleration: 500}   # or track; a cell in cells/ has one

tool: {model: one-field-400x300}    # a generic tool, or the path of a tool file

cartons:                            # carton types by name
  box:
    size: [400, 300, 250]           # length (x), width (y), height (z)
    mass: 6
    # labels: [+x]                  # sides that must face out of the pallet
    # bulge: 0                      # how far the sides bulge while carried
    # sag: 0                        # how far the bottom sags while carried
    # tilt: 0                       # how far it may tilt on the lips while carried, in degrees

# groups:                           # what one cycle carries; left out: one carton at a time
#   pair:
#     row: {carton: box, count: 2, along: x, gap: 0}   # or cartons: [{carton:, at: {x:, y:}}]
#     fields: {1: left, 2: right}   # carton number: the tool's grip field, or a list of them
#     offset: [0, 0]                # group centre in the tool's frame, checked if stated
#     turns: [0, 180]               # turns of the tool over the group, tried in this order

infeed:                             # cartons travel towards the end stop; x runs against them
  at: {x: 1100, y: -1000, z: 700, yaw: -90}  # belt surface at the stop, on the centre line
  length: 2000
  width: 500
  # depth: 700                      # of the belt's body; left out: down to the floor
  # carton_turn: 0                  # turn of the groups on the belt
  # guides: {height: 60, gap: 10, thickness: 20, sides: both}   # or: none
  # stop: {height: 60, thickness: 20}                           # or: none
  # detectors:                      # what sees the cartons; `envelope sheet` tells what releases
  #   positions: [30, 450]          # from the end stop; left out: where they see best
  #   tolerance: 5                  # each sits and switches within this of its position
  #   beam: 10                      # width along the travel, hysteresis included
  #   on_delay: 0.3                 # s, on for so long before it counts
  #   belt_speed: none              # mm/s, at which cartons come
  # queue: 3                        # groups waiting behind the one that is picked
  queue_gap: 20                     # between them, and to the group that is picked

pallets:                            # pallet positions by name
  A:
    size: [1200, 800, 144]
    at: {x: 1000, y: -200, z: 0, yaw: 0}  # corner where length and width start, underside
    stack: main
    # done: 0                       # placements that are there at the start
    # max_height: 1600              # pallet included; left out: no limit
    # max_load: 800                 # left out: no limit
    # overhang: 0                   # how far cartons may hang over the deck

stacks:
  main: {layers: 3, patterns: [row]}  # patterns from the bottom up, repeated

patterns:                           # one layer each
  row: {column: {group: box}}       # or brick, pinwheel, best
  # row turned: {of: row, turned: true}     # or mirrored: x
  # own:                            # placement by placement, in the pallet's frame
  #   placements:
  #     - {group: box, at: {x: 200, y: 150, yaw: 0}, approach: +x+y}   # or: down

# surroundings:                     # box: centred on `at`; block: stands on `at`
#   - {name: fence north, kind: fence, block: [4000, 40, 2000], at: {x: 1000, y: 2500, z: 0}}
#   - {name: post, kind: column, block: [200, 200, 3000], at: {x: 0, y: -2500}}
#   - {name: frame, mesh: frame.stl, mesh_unit: mm}      # or cylinder, capsule, hull
# floor: true                       # whether the floor counts as a body

# clearances:                       # least distances asked for
#   carried_to_placed: 10           # cartons on the tool to cartons on the pallet
#   carried_to_guide: 3
#   carried_to_fixed: 20
#   tool_to_placed: 5
#   tool_to_fixed: 20
#   arm_to_any: 20
#   arm_to_itself: 5
#   margin: 5                       # nearer to a limit than this is marginal
#   taper_height: 50                # full clearance above this height still to go
#   placing_gap: 0                  # clearance asked for at rest
#   contact: 0.1                    # how deep touching by design may go

# motion:
#   approach_height: 100            # above the placement, where the approach starts
#   approach_slant: 50              # sideways shift at the start of a slanted approach
#   lift_off: 150                   # at least this far straight up from the pick
#   transfer_clearance: 80          # of the carried bottom over what stands
#   linear_speed: 500               # mm/s
#   linear_acceleration: 2000       # mm/s2
#   linear_jerk: none               # mm/s3; none: no limit
#   joint_speed_share: 1            # share of the joints' rated speeds that is used
#   joint_acceleration_share: 1     # share of the joints' rated accelerations that is used
#   loaded_acceleration_share: 1    # share of both accelerations while cartons hang on the tool
#   grip_time: 0.3
#   release_time: 0.2
#   settle_time: 0                  # standing still before it grips and releases (tall riser)
#   blend_radius: 0                 # corners may be rounded within this distance of them

# support:                          # what a stack must offer
#   least_area: 0.6                 # share of the bottom face that must be carried
#   least_corners: 3                # corners of the bottom face that must be carried
#   settle: 0                       # how far each layer may settle

# tolerances:                       # by how much the real cell may differ, each way
#   carton_size: 0
#   carton_height: 0
#   pick_position: 0
#   pick_skew: 0                    # deg
#   group_gap: 0
#   pallet_position: 0
#   pallet_yaw: 0                   # deg
#   pallet_height: 0
#   arm_repeatability: 0
#   added: sum                      # or: root of squares

# line:                             # what the cell must keep up with; left out: not judged
#   rate: 12                        # cartons/min
#   index_time: 1                   # s, for a carton to move up into its place at the stop
#   settle_time: 0.3                # s, for the group to come to rest there
#   queue_length: 2000              # that cartons may stand on; left out: the infeed's length
#   queue_places: 8                 # cartons it takes; left out: as many as fit on the length
#   pallet_change: 30               # s, until an empty pallet stands in place of a full one
#   during_change: wait             # or: go on, with another pallet
#   reduced_share: 0                # share of the time at reduced speed (people near, say)
#   reduced_speed: 0.25             # share of the speed that is left then
#   reduced_stretch: 60             # s, the longest time at reduced speed in one piece
#   margin: 0.1                     # less than this share above the line's rate is marginal
"""
