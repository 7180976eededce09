"""Photo-realistic pictures of kitchen base cabinets with exactly known geometry.

Data flows one way through the modules::

    kitchen, variants --> Scene --> mesh, furniture, paper --> renderer --> develop --> photos/*.jpg
                            |                                                 |
                            +--> truth --> truth.json          job_file --> job.toml

Everything in ``truth.json`` comes from the same numbers as the triangles that are rendered. Units are millimetres; x and y
span the plan (y away from the room), z is up and z = 0 is the plane of the cabinet tops. Pixel (0, 0) is the centre of the
first pixel, as in OpenCV. Lens distortion, depth of field and shake happen in the ray generator, so a picture is never
resampled. ``python -m demo_images.render --help`` lists what can be rendered.
"""
